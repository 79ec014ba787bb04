from __future__ import annotations

import os
from pathlib import Path

import pytest

from logger.checkup.room import findings

MB_PER_S = 1e6


def test_room_is_told_in_minutes_of_this_rigs_recordings(tmp_path: Path) -> None:
    room, speed = findings(tmp_path, 2 * MB_PER_S, free_bytes=lambda _: 15_000_000_000)
    assert (room.health, room.found) == ("well", "room for 125 minutes of recording (15.0 GB free, 2.0 MB/s)")
    assert speed.health in ("well", "doubtful")  # how fast this disk is, is not ours to say
    assert speed.found.startswith("writable; 64 kB were on the disk itself after ")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("free_bytes", "health"),
    [
        (7_206_000_000, "well"),
        (7_100_000_000, "doubtful"),
        (606_000_000, "doubtful"),
        (600_000_000, "wrong"),
        (0, "wrong"),
    ],
)
def test_less_than_an_hour_is_doubtful_and_less_than_five_minutes_wrong(
    tmp_path: Path, free_bytes: int, health: str
) -> None:
    room, _ = findings(tmp_path, 2 * MB_PER_S, free_bytes=lambda _: free_bytes)
    assert room.health == health
    assert bool(room.cure) == (health != "well")


def test_gates_alone_have_room_for_hours(tmp_path: Path) -> None:
    room, _ = findings(tmp_path, 5_000.0, free_bytes=lambda _: 1_000_000_000)
    assert room.found == "room for 55 hours of recording (1.0 GB free, 5 kB/s)"


def test_a_folder_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    (only,) = findings(tmp_path / "no", MB_PER_S)
    assert only.health == "wrong"
    assert "there is no such folder" in only.found
    assert only.cure.startswith("mkdir -p ")
    assert not (tmp_path / "no").exists()
    (tmp_path / "file").touch()
    (only,) = findings(tmp_path / "file", MB_PER_S)
    assert "is no folder" in only.found


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_not_be_written_is_wrong(tmp_path: Path) -> None:
    tmp_path.chmod(0o555)
    try:
        _, speed = findings(tmp_path, MB_PER_S)
    finally:
        tmp_path.chmod(0o755)
    assert (speed.health, "Permission denied" in speed.found) == ("wrong", True)


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="there is no /proc here")
def test_a_disk_that_takes_nothing_is_wrong() -> None:
    """The kernel's own proc file system refuses every new file, also from root."""
    *_, speed = findings(Path("/proc/self"), MB_PER_S, free_bytes=lambda _: 10**12)
    assert speed.health == "wrong"
    assert "cannot be written" in speed.found
    assert speed.cure
