from __future__ import annotations

import json
import os
import pty
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from logger.cli import main

av = pytest.importorskip("av", reason="films need PyAV: pip install 'boatrun[film]'")

Maker = Callable[..., Path]


def times_s(path: Path) -> list[float]:
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        return [float(packet.pts * stream.time_base) for packet in container.demux(stream) if packet.size]


def stamps_s(folder: Path) -> list[float]:
    lines = (folder / "frames.csv").read_text(encoding="utf-8").splitlines()[1:]
    stamps = [int(line.split(",")[1]) for line in lines]
    return [(stamp - stamps[0]) / 1e9 for stamp in stamps]


def test_a_film_for_browsers_lies_beside_the_recordings_files(filmed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = {path.name: path.read_bytes() for path in filmed.iterdir()}
    assert main(["film", str(filmed)]) == 0
    to = filmed / "film.webm"
    count = len(stamps_s(filmed))
    assert capsys.readouterr().out == f"{to}: {count} pictures\n"
    assert times_s(to) == pytest.approx(stamps_s(filmed), abs=0.0005)
    assert {path.name: path.read_bytes() for path in filmed.iterdir() if path != to} == before


def test_exact_copies_go_into_one_folder_under_their_recordings_names(
    filmed_once: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folders = [Path(shutil.copytree(filmed_once, tmp_path / name)) for name in ("run-1", "run-2")]
    to = tmp_path / "new" / "films"
    assert main(["film", *map(str, folders), "--as", "mov", "--to", str(to)]) == 0
    assert sorted(path.name for path in to.iterdir()) == ["run-1.mov", "run-2.mov"]
    assert len(capsys.readouterr().out.splitlines()) == 2
    for folder in folders:
        assert times_s(to / f"{folder.name}.mov") == pytest.approx(stamps_s(folder), abs=1e-6)


def test_a_recording_is_measured_alike_from_its_exact_copy(filmed: Path) -> None:
    assert main(["measure", str(filmed)]) == 0
    from_jpegs = json.loads((filmed / "trial.json").read_text(encoding="utf-8"))
    assert main(["film", str(filmed), "--as", "mov"]) == 0
    (filmed / "video.mjpeg").unlink()
    (filmed / "film.mov").rename(filmed / "video.mov")
    (filmed / "trial.json").unlink()
    assert main(["measure", str(filmed)]) == 0
    assert json.loads((filmed / "trial.json").read_text(encoding="utf-8")) == from_jpegs


def test_a_film_is_never_written_over_and_the_others_are_made(
    filmed: Path, gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = tmp_path / "films"
    to.mkdir()
    (to / "filmed.webm").write_bytes(b"mine")
    again = Path(shutil.copytree(filmed, tmp_path / "again"))
    assert main(["film", str(filmed), str(gates_only()), str(again), "--to", str(to)]) == 2
    said = capsys.readouterr()
    assert said.out == f"{to / 'again.webm'}: {len(stamps_s(again))} pictures\n"
    taken, bare = said.err.splitlines()
    assert "filmed.webm: there is such a film already; move it away" in taken
    assert "no pictures in it; nothing to make a film of" in bare
    assert (to / "filmed.webm").read_bytes() == b"mine"


def test_a_full_disk_leaves_no_half_film(filmed: Path, tmp_path: Path) -> None:
    """As many bytes as a file may have here, then "file too large": the way a full disk fails a write."""
    (tmp_path / "films").mkdir()
    script = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (50000, 50000));"
        "from logger.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    words = [sys.executable, "-c", script, "film", str(filmed), "--as", "mov", "--to", str(tmp_path / "films")]
    done = subprocess.run(words, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode != 0
    assert list((tmp_path / "films").iterdir()) == []


def test_progress_is_for_people_only(filmed: Path) -> None:
    """On a terminal too only after two seconds, which this film does not take."""
    main_end, their_end = pty.openpty()
    words = [sys.executable, "-m", "logger", "film", str(filmed), "--as", "mov"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=their_end, text=True) as process:
        out, _ = process.communicate(timeout=60)
    os.close(their_end)
    assert process.returncode == 0
    assert out.startswith(str(filmed / "film.mov"))
    os.close(main_end)
