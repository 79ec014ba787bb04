from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.errors import InputError, StoreError
from logger.web.sticks import put, sticks


def mounts(folder: Path, *lines: str) -> Path:
    table = folder / "mounts"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return table


def test_sticks_are_what_is_mounted_below_the_roots_and_can_be_written(tmp_path: Path) -> None:
    """Fields as in fstab(5): device, place with blanks as \\040, kind, options."""
    media = tmp_path / "media"
    for name in ("pi/MY STICK", "pi/readonly", "elsewhere"):
        (media / name).mkdir(parents=True)
    table = mounts(
        tmp_path, "/dev/root / ext4 rw,noatime 0 0", f"/dev/sda1 {media}/pi/MY\\040STICK vfat rw,nosuid 0 0",
        f"/dev/sdb1 {media}/pi/readonly iso9660 ro 0 0", f"/dev/sdc1 {tmp_path}/other vfat rw 0 0", "broken",
    )  # fmt: skip
    assert sticks([media], tmp_path / "none", mounts=table) == [media / "pi/MY STICK"]
    assert sticks([media], tmp_path / "none", mounts=tmp_path / "missing") == []


def test_a_configured_folder_comes_first(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "stick").symlink_to(tmp_path / "real")
    assert sticks([], tmp_path / "stick", mounts=mounts(tmp_path)) == [tmp_path / "real"]


def test_the_kernels_own_table_can_be_read() -> None:
    assert isinstance(sticks([Path("/media"), Path("/run/media")], Path("/nowhere")), list)


def test_files_are_put_into_a_folder_of_their_own(tmp_path: Path) -> None:
    first = put(tmp_path, "boatrun-a", {"tables/runs.csv": "a\n", "runs.xlsx": b"PK"})
    second = put(tmp_path, "boatrun-a", {"x": ""})
    assert (first.name, second.name) == ("boatrun-a", "boatrun-a-2")
    assert (first / "tables" / "runs.csv").read_text() == "a\n"


def test_no_file_leaves_its_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no name of a file"):
        put(tmp_path, "boatrun-a", {"../x": ""})
    assert not (tmp_path / "x").exists()


def test_a_stick_that_was_pulled_out_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="pulled out"):
        put(tmp_path / "file", "boatrun-a", {"x": ""})
    assert os.access(tmp_path, os.W_OK)


@pytest.fixture
def mounted(tmp_path: Path) -> Iterator[Path]:
    """Something that is really mounted, of 64 kB, below a folder of media."""
    place = tmp_path / "media" / "pi" / "GREEN STICK"
    place.mkdir(parents=True)
    done = subprocess.run(
        ["/bin/mount", "-t", "tmpfs", "-o", "size=64k", "none", str(place)], capture_output=True, check=False
    )
    if done.returncode:
        pytest.skip("nothing may be mounted here")
    yield place
    subprocess.run(["/bin/umount", "-l", str(place)], capture_output=True, check=False)


def test_a_stick_that_is_really_mounted_is_found_filled_and_missed(mounted: Path) -> None:
    media = mounted.parents[1]
    (found,) = sticks([media], media / "none")
    assert found == mounted
    put(found, "boatrun-a", {"tables/runs.csv": "a\n" * 1000})
    with pytest.raises(StoreError, match="is the stick full"):
        put(found, "boatrun-b", {"runs.xlsx": b"x" * 100_000})
    assert (found / "boatrun-a" / "tables" / "runs.csv").stat().st_size == 2000
    assert not list(found.rglob(".*")), "no halves are left behind"
    subprocess.run(["/bin/umount", str(mounted)], check=True)
    assert sticks([media], media / "none") == []
