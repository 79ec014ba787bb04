"""One recorder at a time in a folder; a killed one stands in nobody's way."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from logger.errors import StoreError
from logger.recording.place import Place
from logger.recording.recovery import RESERVE

from .conftest import PROJECT

HOLD = """
import sys
from pathlib import Path
from logger.recording.place import Place
with Place(Path(sys.argv[1])):
    print("mine", flush=True)
    sys.stdin.read()
"""


def holder(folder: Path) -> subprocess.Popen[str]:
    """Another process that holds the folder until its input ends."""
    child = subprocess.Popen(
        [sys.executable, "-B", "-c", HOLD, str(folder)],
        cwd=PROJECT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert child.stdout is not None
    assert child.stdout.readline() == "mine\n"
    return child


def end(child: subprocess.Popen[str]) -> None:
    child.communicate()
    assert child.returncode == 0


def test_a_second_recorder_is_told_which_process_has_the_folder(tmp_path: Path) -> None:
    child = holder(tmp_path)
    numbered = Path("/proc/locks").read_text().find(f" {child.pid} ") >= 0
    who = f"another recorder \\(process {child.pid}\\)" if numbered else "another recorder"
    with pytest.raises(StoreError, match=f"{tmp_path}: {who} is recording into it; one recorder at a time is wanted"):
        Place(tmp_path)
    end(child)
    Place(tmp_path).close()


def test_the_same_program_cannot_record_twice_into_one_folder(tmp_path: Path) -> None:
    with Place(tmp_path):
        with pytest.raises(StoreError, match=r"(this same program|another recorder) is recording into it"):
            Place(tmp_path)
        with pytest.raises(StoreError, match="is recording into it"):  # a refused one takes nothing away
            Place(tmp_path)
    with Place(tmp_path):
        pass


def test_other_folders_and_those_inside_are_free(tmp_path: Path) -> None:
    (tmp_path / "inner").mkdir()
    with Place(tmp_path) as outer, Place(tmp_path / "inner") as inner:
        assert (outer.folder, inner.folder) == (tmp_path, tmp_path / "inner")


def test_the_lock_of_a_killed_recorder_is_gone_and_it_left_no_file(tmp_path: Path) -> None:
    child = holder(tmp_path)
    os.kill(child.pid, signal.SIGKILL)
    child.communicate()
    with Place(tmp_path):
        assert list(tmp_path.iterdir()) == []


def test_whoever_takes_the_folder_tidies_up_after_recorders_that_were_cut_short(tmp_path: Path) -> None:
    for name in ("a.unfinished", "b.unfinished", "c"):
        (tmp_path / name).mkdir()
        (tmp_path / name / RESERVE).write_bytes(bytes(10))
        (tmp_path / name / "edges.csv").write_bytes(b"t_ns,gate,level\n")
    with Place(tmp_path):
        pass
    assert [path.name for path in sorted(tmp_path.rglob(RESERVE))] == [RESERVE]
    assert (tmp_path / "c" / RESERVE).exists(), "not an unfinished recording: not ours to touch"
    assert len(list(tmp_path.rglob("edges.csv"))) == 3


def test_who_is_refused_tidies_nothing_up(tmp_path: Path) -> None:
    with Place(tmp_path):
        (tmp_path / "a.unfinished").mkdir()
        (tmp_path / "a.unfinished" / RESERVE).write_bytes(b"1")
        with pytest.raises(StoreError, match="is recording into it"):
            Place(tmp_path)
        assert (tmp_path / "a.unfinished" / RESERVE).exists()


def test_a_folder_that_is_not_there_cannot_be_taken(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="nowhere"):
        Place(tmp_path / "nowhere")


def test_those_for_whom_time_waits_share_a_folder_but_not_with_a_live_one(tmp_path: Path) -> None:
    first, second = (Place(tmp_path, alone=False) for _ in range(2))
    with first, second, pytest.raises(StoreError, match="is recording into it"):
        Place(tmp_path)
    with Place(tmp_path), pytest.raises(StoreError, match="is recording into it"):
        Place(tmp_path, alone=False)


def test_who_shares_a_folder_leaves_what_others_have_set_aside(tmp_path: Path) -> None:
    reserve = tmp_path / "run.unfinished" / ".reserve"
    reserve.parent.mkdir()
    reserve.touch()
    Place(tmp_path, alone=False).close()
    assert reserve.exists()
    Place(tmp_path).close()
    assert not reserve.exists()
