"""Every command printed for people is run, with a simulated rig in a folder of its own; or it says where else."""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Callable
from dataclasses import replace
from importlib import import_module
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.files import load_calibration
from logger.cli import _MODULES, COMMANDS, Parser, main
from logger.config import DriverChoice
from logger.recording.rig_toml import rig_text
from logger.simulator.live import SimulatedTank
from logger.simulator.scene import draw
from logger.simulator.wishes import wishes
from logger.simulator.write import write
from tests.hardware.printed_commands import PROJECT, Printed, commands, mentioned
from tests.logger.accept_rig import accept_rig

ALL = commands()

LONG: dict[str, str] = {
    "boatrun simulate": "tests/logger/cli/test_simulate.py",
    "boatrun calibrate light": "tests/logger/cli/test_calibrate_light.py",
    "boatrun calibrate lens": "tests/logger/cli/test_calibrate_lens.py",
    "boatrun calibrate plane": "tests/logger/cli/test_calibrate_plane.py",
    "boatrun calibrate gates": "tests/logger/cli/test_calibrate_gates.py",
    "boatrun film": "tests/logger/cli/test_film.py",
    "boatrun serve": "tests/logger/cli/test_serve.py",
    "boatrun study": "tests/logger/cli/test_study.py",
    "boatrun print class": "tests/logger/cli/test_print_class.py",
    "boatrun demo --live": "tests/logger/cli/test_practice.py",
}
"""Beginning of a command that takes many pictures or half a minute, or never ends -> the tests that run it. Here its
words are read by the command itself, all of them, as when it is run."""

ELSEWHERE: dict[str, str] = {
    "S=$(command -v sudo)": ".ci/fresh_root runs it as printed in a fresh root",
    "python3 -m venv .venv && .venv/bin/pip install -e": ".ci/run makes its environment so",
    ".venv/bin/pytest -n 2": "these tests",
    ".venv/bin/ruff check": ".ci/run",
    ".ci/hil": ".ci/run",
    ".ci/run": "itself",
    ".venv/bin/pip install '.[hardware]'": ".ci/run installs it",
    ".venv/bin/python -m hardware.draw": ".ci/run, step drawings; tests/hardware/draw/test_main.py",
    "sudo hardware/setup/boatrun-setup": "a computer's administrator: .ci/setup_root in a Debian root",
    "sudo boatrun-setup": "a computer's administrator: .ci/setup_root in a Debian root",
    "boatrun-setup status": ".ci/setup_root's root; tests/hardware/test_setup.py",
    "cd /var/lib/boatrun": "a place on the Pi",
    "sudo mkdir -p /mnt/stick": "a stick of one's own; .ci/setup_root mounts one in memory",
    "sudo mount": "a stick of one's own",
    "sudo umount": "a stick of one's own",
    "sudo reboot": "a restart",
    "sudo systemctl": "tests/hardware/setup_boot.py starts it in an emulated PC",
}
"""Beginning of a command that is not run here -> why, and who does."""


def beginning(line: str, known: dict[str, str]) -> str | None:
    bare = line.replace(".venv/bin/boatrun", "boatrun")
    return next((start for start in known if bare.startswith(start)), None)


RUN_HERE = [one for one in ALL if one.is_ours and beginning(one.line, LONG) is None]
READ_HERE = [one for one in ALL if one.is_ours and beginning(one.line, LONG) is not None]


def ids(one: Printed) -> str:
    return one.line


# --- the stage ---


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as the pages have it: a rig file, its calibration, recordings, a photograph; copied for each command."""
    folder = tmp_path_factory.mktemp("stage")
    accept_rig(folder, camera=True, walks_through=True)
    for number in (1, 2):
        write(
            draw(tier="easy", kind="straight", seed=1000 + number, asked=wishes({})), folder / "tank" / f"run-{number}",
            video=False,
        )  # fmt: skip
    lens = load_calibration(folder / "camera.toml").view.lens
    cv2.imwrite(str(folder / "photo.jpg"), np.full((lens.height_px, lens.width_px), 150, np.uint8))
    return folder


@pytest.fixture
def here(stage: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = Path(shutil.copytree(stage, tmp_path / "here"))
    monkeypatch.chdir(folder)
    return folder


def with_somebody_at_the_keys(folder: Path) -> None:
    """A rig whose invented person arms and says go, for recording: gates and panel of one simulated run, no camera."""
    choice = {"seed": 1000, "run_kind": "straight", "pace": "fast"}
    rig = replace(
        SimulatedTank(kind="straight", seed=1000).rig, camera=None,
        gates_driver=DriverChoice("simulated_gates", choice), panel_driver=DriverChoice("simulated_panel", choice),
    )  # fmt: skip
    (folder / "rig.toml").write_text(rig_text(rig), encoding="utf-8")


def without_camera(folder: Path) -> None:
    """What asks for beams only needs no painted pictures."""
    accept_rig(folder, walks_through=True)


def measured(_: Path) -> None:
    assert main(["measure", *sorted(map(str, Path().glob("tank/*")))]) == 0


READY: dict[str, Callable[[Path], None]] = {
    "boatrun record": with_somebody_at_the_keys,
    "boatrun check rig.toml --beams": without_camera,
    "boatrun check rig.toml --recordings": without_camera,
    "boatrun check rig.toml --acceptance": without_camera,
    "boatrun export tank/": measured,
    "boatrun boat cards/": lambda folder: (folder / "cards").mkdir(),
}
"""Beginning of a command -> what must be there before."""


def spread(word: str) -> list[str]:
    """As a shell does it."""
    return sorted(map(str, Path().glob(word))) if "*" in word else [word]


# --- the tests ---


def test_there_are_commands_in_every_page_that_should_have_some() -> None:
    pages = {one.page for one in ALL}
    assert {"README.md", "build_evening.md", "mechanics.md", "rig_file.md", "lesson card"} <= pages
    assert len(RUN_HERE) > 15


@pytest.mark.parametrize("printed", RUN_HERE, ids=ids)
def test_it_runs_as_it_is_printed(printed: Printed, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    start = next((start for start in READY if printed.line.replace(".venv/bin/", "").startswith(start)), None)
    if start is not None:
        READY[start](here)
    words = [found for word in printed.words[1:] for found in spread(word)]
    wanted = 2 if "--acceptance" in words else 0  # of which some items are not done
    status = main(words)
    shown = capsys.readouterr()
    assert status == wanted, shown.err or shown.out
    assert "Traceback" not in shown.err
    assert shown.out.strip()


@pytest.mark.parametrize("printed", READ_HERE, ids=ids)
def test_what_takes_long_is_read_by_the_command_and_run_in_its_own_tests(printed: Printed) -> None:
    start = beginning(printed.line, LONG)
    assert start is not None
    assert (PROJECT / LONG[start]).is_file()
    _read(printed.words[1:])


def _read(words: list[str]) -> argparse.Namespace:
    """As the program reads its words; it leaves with status 2 if it does not understand one."""
    arguments, rest = _parser(words[0]).parse_known_args(words[1:])
    assert rest == []
    return arguments


def _parser(name: str) -> Parser:
    command = import_module(f"logger.cli.{_MODULES.get(name, name)}")
    parser = Parser(prog=f"boatrun {name}", allow_abbrev=False)
    command.describe(parser)
    return parser


@pytest.mark.parametrize("printed", [one for one in ALL if not one.is_ours], ids=ids)
def test_what_is_not_run_here_says_where_it_is(printed: Printed) -> None:
    start = beginning(printed.line, ELSEWHERE)
    assert start is not None, f"{printed.page}: {printed.line}: run it here, or say in ELSEWHERE why not"


def test_the_lists_of_exceptions_may_only_shrink() -> None:
    for known in (LONG, ELSEWHERE):
        unused = [start for start in known if not any(beginning(one.line, {start: ""}) for one in ALL)]
        assert unused == [], "no longer printed: take it off the list"


@pytest.mark.parametrize("printed", sorted(set(mentioned()), key=ids), ids=ids)
def test_a_command_in_a_sentence_has_words_that_the_program_knows(printed: Printed) -> None:
    name, *rest = printed.words[1:]
    if name in ("COMMAND", "--version"):
        return
    assert name in COMMANDS, printed.line
    parser = _parser(name)
    known = {option for inner in (parser, *parser._inner()) for a in inner._actions for option in a.option_strings}
    assert [word for word in rest if word.startswith("--") and word.partition("=")[0] not in known] == []
    names = {n for a in parser._actions if isinstance(a.choices, dict) for n in a.choices}
    assert not names or not rest or rest[0].startswith("-") or rest[0] in names, printed.line
