"""What is given up first when the disk makes trouble, and that nothing else is."""

from __future__ import annotations

import errno
import os
import threading
from pathlib import Path

import pytest

from logger.errors import StoreError
from logger.recording.disk import (
    DISK_FULL,
    DISK_LOW,
    EDGES,
    EVENTS,
    LEAST_BYTES,
    PICTURES_BYTES,
    RESERVE_BYTES,
    STAMPS,
    VIDEO,
    Disk,
    Picture,
    told,
)
from logger.recording.recovery import RESERVE
from logger.recording.sensor_tables import EDGE_COLUMNS, EVENT_COLUMNS, VIDEO_ENDED

from .conftest import fill_up, mounted

LONG_S = 60.0


def name_of(handle: int) -> str:
    return Path(os.readlink(f"/proc/self/fd/{handle}")).name


class Flash:
    """A card that can be slow, full or broken for one file or all: its physics stand between us and the real files."""

    def __init__(self) -> None:
        self.full: set[str] = set()
        self.room_bytes: int | None = None
        self.broken: set[str] = set()
        self.stuck: dict[str, threading.Event] = {}
        self.begun: dict[str, threading.Event] = {}
        self.written: list[str] = []
        self.synced: list[str] = []

    def stick(self, name: str) -> threading.Event:
        self.stuck[name], self.begun[name] = threading.Event(), threading.Event()
        return self.stuck[name]

    def write(self, handle: int, data: memoryview) -> int:
        name = name_of(handle)
        if name in self.stuck:
            self.begun[name].set()
            assert self.stuck[name].wait(LONG_S)
        if name in self.full or (self.room_bytes is not None and self.room_bytes < len(data)):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        if self.room_bytes is not None:
            self.room_bytes -= len(data)
        self.written.append(name)
        return os.write(handle, data)

    def sync(self, handle: int) -> None:
        name = name_of(handle)
        if name in self.broken:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        self.synced.append(name)


@pytest.fixture
def flash() -> Flash:
    return Flash()


@pytest.fixture
def disk(tmp_path: Path, flash: Flash) -> Disk:
    return begun(tmp_path, flash)


def begun(folder: Path, flash: Flash) -> Disk:
    disk = Disk(folder, sync=flash.sync, write=flash.write)
    disk.begin(EDGES, EDGE_COLUMNS)
    disk.begin(EVENTS, EVENT_COLUMNS)
    return disk


def picture(number: int, *, size_bytes: int = 100) -> Picture:
    return Picture(1000 + number, bytes([65 + number % 26]) * size_bytes, b"%d,%d,0,0\n" % (number, 1000 + number))


def film(disk: Disk, numbers: range) -> None:
    for number in numbers:
        assert disk.picture(picture(number), can_wait=True)


def rows(disk: Disk, count: int) -> None:
    for number in range(count):
        disk.row(EDGES, b"%d,A,1,\n" % number)


def lines(folder: Path, name: str) -> int:
    return (folder / name).read_bytes().count(b"\n") - 1


def test_everything_is_written_in_order_and_synced(tmp_path: Path, disk: Disk, flash: Flash) -> None:
    disk.put("rig.toml", b"a rig")
    assert flash.synced == [EDGES, EVENTS, "rig.toml"]
    rows(disk, 20)
    film(disk, range(5))
    disk.row(EVENTS, b"1,go,page,\n")
    disk.flush()
    assert (tmp_path / VIDEO).read_bytes() == b"".join(picture(n).data for n in range(5))
    assert (tmp_path / STAMPS).read_bytes().splitlines()[1:] == [picture(n).stamp.strip() for n in range(5)]
    assert (lines(tmp_path, EDGES), lines(tmp_path, EVENTS)) == (20, 1)
    of_camera = [name for name in flash.written if name in (VIDEO, STAMPS)]
    assert of_camera == [VIDEO, STAMPS, STAMPS, *[VIDEO, STAMPS] * 4], "each picture before its stamp; one header"
    disk.close()
    assert {EDGES, EVENTS, VIDEO, STAMPS} <= set(flash.synced[3:])
    assert disk.unsafe_since_ns is None
    assert disk.troubles() == []


def test_files_of_a_camera_that_sent_nothing_are_not_made(tmp_path: Path, disk: Disk) -> None:
    disk.close()
    assert sorted(os.listdir(tmp_path)) == [RESERVE, EDGES, EVENTS]


def test_a_picture_that_cannot_be_written_for_now_holds_up_no_edge(tmp_path: Path, disk: Disk, flash: Flash) -> None:
    goes_on = flash.stick(VIDEO)
    film(disk, range(50))
    assert flash.begun[VIDEO].wait(LONG_S)
    rows(disk, 1000)
    disk._rows.flush()
    assert lines(tmp_path, EDGES) == 1000
    goes_on.set()
    disk.close()
    assert lines(tmp_path, STAMPS) == 50


def test_an_edge_that_cannot_be_written_for_now_waits_in_memory(tmp_path: Path, disk: Disk, flash: Flash) -> None:
    goes_on = flash.stick(EDGES)
    rows(disk, 10_000)
    assert flash.begun[EDGES].wait(LONG_S)
    film(disk, range(10))
    assert lines(tmp_path, EDGES) == 0
    goes_on.set()
    disk.close()
    assert (lines(tmp_path, EDGES), lines(tmp_path, STAMPS)) == (10_000, 10)


def test_pictures_that_a_slow_disk_leaves_no_room_for_are_refused_with_their_stamps(
    tmp_path: Path, disk: Disk, flash: Flash
) -> None:
    goes_on = flash.stick(VIDEO)
    size_bytes, count = 1_000_000, 0
    while disk.picture(picture(count, size_bytes=size_bytes), can_wait=False):
        count += 1
    assert count == PICTURES_BYTES // size_bytes - 1, "with their stamps"
    assert not disk.picture(picture(count, size_bytes=size_bytes), can_wait=False)
    goes_on.set()
    disk.close()
    assert (tmp_path / VIDEO).stat().st_size == count * size_bytes
    assert lines(tmp_path, STAMPS) == count


def test_when_there_is_no_space_for_pictures_stamps_and_edges_go_on(tmp_path: Path, disk: Disk, flash: Flash) -> None:
    film(disk, range(3))
    disk.flush()
    flash.full = {VIDEO}
    film(disk, range(3, 9))
    rows(disk, 5)
    disk.flush()
    flash.full = set()
    film(disk, range(9, 12))
    disk.close()
    (found,) = disk.troubles()
    assert (found.event, found.t_ns) == (VIDEO_ENDED, 1003)
    assert found.words == "before picture 3: No space left on device; free some space"
    assert (tmp_path / VIDEO).read_bytes() == b"".join(picture(n).data for n in range(3)), "once ended it stays so"
    assert (lines(tmp_path, STAMPS), lines(tmp_path, EDGES)) == (12, 5)
    assert (tmp_path / RESERVE).exists()


@pytest.mark.parametrize("kind", ["tmpfs", "ext4"])
def test_when_a_real_disk_is_full_the_reserve_is_for_edges(tmp_path: Path, kind: str) -> None:
    with mounted(tmp_path / "small", kind, size_mb=12) as small:
        folder = small / "r"
        folder.mkdir()
        disk = begun(folder, Flash())
        film(disk, range(3))
        disk.flush()
        fill_up(small)
        rows(disk, 20_000)
        disk.flush()
        film(disk, range(3, 6))
        disk.close()
        assert [found.event for found in disk.troubles()] == [DISK_LOW, DISK_FULL, VIDEO_ENDED]
        assert (lines(folder, EDGES), lines(folder, STAMPS)) == (20_000, 6)
        assert not (folder / RESERVE).exists()


@pytest.mark.parametrize("kind", ["tmpfs", "ext4"])
def test_when_the_reserve_is_used_up_too_it_is_an_error_and_what_there_is_is_whole(tmp_path: Path, kind: str) -> None:
    with mounted(tmp_path / "small", kind, size_mb=12) as small:
        folder = small / "r"
        folder.mkdir()
        disk = begun(folder, Flash())
        hog = fill_up(small)
        with pytest.raises(StoreError, match=r"edges\.csv: cannot be written \(No space left on device\); free some"):
            rows(disk, 2_000_000)
        with pytest.raises(StoreError, match="No space left"):
            disk.close()
        assert hog.exists()
        data = (folder / EDGES).read_bytes()
        assert data.endswith(b"\n")
        assert len(data) > RESERVE_BYTES // 2


@pytest.mark.parametrize("kind", ["tmpfs", "ext4"])
def test_on_a_disk_with_too_little_space_nothing_is_begun(tmp_path: Path, kind: str) -> None:
    with mounted(tmp_path / "small", kind, size_mb=12) as small:
        folder = small / "r"
        folder.mkdir()
        hog = fill_up(small)
        with pytest.raises(StoreError, match=r"small: 0\.\d MB are free; a recording needs 5 MB, and with a camera"):
            Disk(folder)
        assert list(folder.iterdir()) == []
        with hog.open("r+b") as file:
            file.truncate(hog.stat().st_size - LEAST_BYTES - 500_000)
        Disk(folder).close()


def test_people_are_told_once_when_the_space_gets_low(tmp_path: Path) -> None:
    with mounted(tmp_path / "small", "tmpfs", size_mb=50) as small:
        disk = Disk(small)
        film(disk, range(3))
        disk.close()
        (found,) = disk.troubles()
        assert (found.event, found.t_ns) == (DISK_LOW, 1000)
        assert "MB are free; when the disk is full the pictures end; free some space" in found.words


def test_pictures_that_cannot_be_put_on_the_disk_end_the_video_only(tmp_path: Path, disk: Disk, flash: Flash) -> None:
    flash.broken = {VIDEO}
    film(disk, range(2))
    disk.flush()
    while disk.unsafe_since_ns is not None:
        pass
    film(disk, range(2, 4))
    rows(disk, 3)
    disk.close()
    (found,) = disk.troubles()
    assert found.event == VIDEO_ENDED
    assert "Input/output error" in found.words
    assert (lines(tmp_path, STAMPS), lines(tmp_path, EDGES)) == (4, 3)


@pytest.mark.parametrize("name", [EDGES, STAMPS])
def test_rows_that_cannot_be_put_on_the_disk_are_an_error(disk: Disk, flash: Flash, name: str) -> None:
    flash.broken = {name}
    film(disk, range(1))
    rows(disk, 1)
    with pytest.raises(StoreError, match=rf"{name}: cannot be written \(Input/output error\)"):
        disk.close()
    with pytest.raises(StoreError, match="Input/output error"):
        disk.check()


def test_an_error_of_the_disk_says_what_to_do(tmp_path: Path) -> None:
    def fail() -> None:
        with told(tmp_path):
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    with pytest.raises(StoreError, match=r"cannot be written \(Read-only file system\); free some space or check perm"):
        fail()
