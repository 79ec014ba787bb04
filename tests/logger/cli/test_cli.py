from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from logger import __version__
from logger.cli import COMMANDS, main, our_fault


def boatrun(*words: str, **options: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "logger", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False, **options)


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    told = capsys.readouterr().out
    assert all(re.search(rf"^  {name} ", told, re.MULTILINE) for name in COMMANDS)


def test_help_imports_nothing_that_takes_long() -> None:
    script = (
        "import sys; from logger.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass\nprint(*sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60)
    loaded = set(done.stdout.splitlines()[-1].split())
    assert loaded.isdisjoint({"numpy", "cv2", "scipy", "jinja2", "tqdm", "sqlite3"})


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_of_its_own(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main([command, "--help"])
    told = capsys.readouterr().out
    assert told.startswith(f"usage: boatrun {command}")
    assert len(told.splitlines()) > 5


def test_the_version_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--version"])
    assert capsys.readouterr().out == f"boatrun {__version__}\n"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["mesure"], "there is no command 'mesure'; did you mean 'measure'?"),
        (["xyzzy"], "there is no command 'xyzzy'; there are "),
        (["--verson"], "there is no option '--verson'; did you mean '--version'?"),
        (["measure", "--jsn", "x"], "there is no option '--jsn'; did you mean '--json'?"),
        (["simulate", "--to", "d", "--tier", "esay"], "argument --tier: invalid choice: 'esay'"),
        (["simulate", "--to", "d", "--count", "0"], "argument --count: found '0'; wanted a whole number"),
        (["measure"], "the following arguments are required: RECORDING"),
    ],
)
def test_a_wrong_word_is_one_line_and_status_2(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(words)
    said = capsys.readouterr()
    assert told in said.err
    assert said.err.count("\n") == 1
    assert said.out == ""


def test_wrong_input_is_one_line_and_status_2() -> None:
    done = boatrun("export", "--to", "nowhere")
    assert done.returncode == 2
    assert done.stderr == (
        "boatrun: export: found neither a recording nor a store; give at least one of them (--store FILE)\n"
    )


def test_our_own_fault_is_one_line_that_says_where_the_details_are() -> None:
    try:
        raise RuntimeError("two\nlines")
    except RuntimeError as error:
        line = our_fault(error)
    assert "\n" not in line
    assert "RuntimeError: two lines" in line
    details = Path(line.rsplit(" ", 1)[-1])
    text = details.read_text(encoding="utf-8")
    details.unlink()
    assert "test_our_own_fault" in text
    assert __version__ in text


def test_ctrl_c_ends_with_one_line_and_leaves_no_half_recording(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "logger", "simulate", "--to", str(tmp_path / "d"), "--count", "500"]
    process = subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    # the first recording's folder appears when the work has begun
    begun = time.monotonic()
    while not list(tmp_path.glob("d/*")) and time.monotonic() - begun < 60:
        assert process.poll() is None
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=60)
    assert process.returncode == 130
    assert told == "boatrun: stopped; what was finished before is kept\n"
    assert all((folder / "truth.json").exists() for folder in (tmp_path / "d").iterdir())


def test_a_reader_that_closes_early_is_no_fault() -> None:
    script = f"{sys.executable} -m logger --help | head -n 1; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True, timeout=60)
    assert done.stderr == ""
    assert done.stdout.splitlines() == ["usage: boatrun COMMAND ...", "0"]


def test_a_full_disk_is_not_called_a_fault_of_the_program(gates_only: Callable[..., Path]) -> None:
    command = [sys.executable, "-m", "logger", "measure", str(gates_only())]
    # /dev/full answers every write with "no space left"
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert done.stderr == "boatrun: output: cannot be used (No space left on device); free it or choose another place\n"
