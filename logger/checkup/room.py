"""Is there room for recordings, may they be written, and does the disk keep up?

Limits are common practice, no source: an hour is a class period with its runs, five minutes are a few runs; the
recorder wants everything on the disk within a second.
"""

from __future__ import annotations

import errno
import os
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from logger.drivers.interface import Finding, Health
from logger.recording.disk import LEAST_BYTES

WELL_MIN, LEAST_MIN = 60.0, 5.0
SLOW_MS = 250.0
TRIAL_BYTES = 65_536
ROWS_BYTES_PER_S = 5_000.0
"""Edges and events of a rig without a camera, generously."""
CAMERA_BYTES_PER_S = 5_000_000.0
"""Of a camera whose pictures were not seen."""
PART = "disk"


def findings(
    folder: Path, bytes_per_s: float, *, free_bytes: Callable[[Path], int] = lambda p: shutil.disk_usage(p).free
) -> Iterator[Finding]:
    """What is to be said of the place where recordings go.

    Args:
        folder: That place.
        bytes_per_s: How fast a recording grows.
        free_bytes: How much is free there.
    """
    if not folder.is_dir():
        found = "is no folder" if folder.exists() else "there is no such folder"
        yield Finding(PART, "wrong", f"{folder}: {found}", f"mkdir -p {folder}, or name another place for recordings")
        return
    yield _room(folder, free_bytes(folder), bytes_per_s)
    yield _speed(folder)


def _room(folder: Path, free_bytes: int, bytes_per_s: float) -> Finding:
    minutes = max(free_bytes - LEAST_BYTES, 0) / bytes_per_s / 60
    length = f"{minutes:.0f} minutes" if minutes < 600 else f"{minutes / 60:.0f} hours"
    found = f"room for {length} of recording ({free_bytes / 1e9:.1f} GB free, {_rate(bytes_per_s)})"
    cure = f"copy old recordings away and delete them, or record onto another disk ({folder})"
    health: Health = "well" if minutes >= WELL_MIN else "doubtful" if minutes >= LEAST_MIN else "wrong"
    return Finding(PART, health, found, "" if health == "well" else cure)


def _rate(bytes_per_s: float) -> str:
    return f"{bytes_per_s / 1e6:.1f} MB/s" if bytes_per_s >= 1e5 else f"{bytes_per_s / 1e3:.0f} kB/s"


def _speed(folder: Path) -> Finding:
    """Write something small and have it put on the disk itself, as the recorder does all the time."""
    path = folder / f".boatrun-check-{os.getpid()}"
    try:
        begun_s = time.perf_counter()
        with path.open("xb") as file:
            file.write(os.urandom(TRIAL_BYTES))
            file.flush()
            os.fsync(file.fileno())
        took_ms = 1000 * (time.perf_counter() - begun_s)
    except OSError as error:
        return Finding(PART, "wrong", f"{folder}: cannot be written ({error.strerror})", _cure(error))
    finally:
        _remove(path)
    found = f"writable; {TRIAL_BYTES // 1024} kB were on the disk itself after {took_ms:.0f} ms"
    if took_ms <= SLOW_MS:
        return Finding(PART, "well", found)
    return Finding(PART, "doubtful", found, "end other programs that write, or record onto a faster disk or card")


def _remove(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return  # a disk that takes nothing gives nothing back either; that has been said


def _cure(error: OSError) -> str:
    if error.errno == errno.EROFS:
        return "the disk is read-only: switch that off, or record onto another one"
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return "it is full: delete something, or record onto another disk"
    return "check who may write there (ls -ld), or name another place for recordings"
