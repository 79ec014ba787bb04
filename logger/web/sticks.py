"""Sticks that are plugged into the rig: where they are mounted, and copying a folder of files onto one."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from logger.errors import InputError, StoreError
from logger.settings import sync_folder, write_whole

ROOTS = (Path("/media"), Path("/run/media"))
"""Below these a desktop or a service mounts what is plugged in."""
OWN = "stick"
"""A folder of that name beside the rig file is taken for a stick as well: a link to wherever copies are to go."""
_MOUNTS = Path("/proc/self/mounts")
_ESCAPED = re.compile(r"\\([0-7]{3})")


def sticks(roots: Sequence[Path], own: Path, *, mounts: Path = _MOUNTS) -> list[Path]:
    """Folders of sticks that can be written to, the configured one first.

    Args:
        roots: below which mounts count.
        own: the configured folder, if it is there.
        mounts: the kernel's table of mounts, fstab(5).
    """
    found = [own.resolve()] if own.is_dir() else []
    try:
        lines = mounts.read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    except OSError:
        lines = []
    for line in lines:
        parts = line.split(" ")
        place = Path(_ESCAPED.sub(lambda sign: chr(int(sign[1], 8)), parts[1])) if len(parts) > 3 else Path("/")
        is_writable = len(parts) > 3 and "rw" in parts[3].split(",")
        if is_writable and any(root in place.parents for root in roots) and place not in found:
            found.append(place)
    return [place for place in found if os.access(place, os.W_OK)]


def put(stick: Path, name: str, files: Mapping[str, str | bytes]) -> Path:
    """Write the files into a new folder on the stick; on return they are on it, so that it may be pulled out.

    Returns:
        The folder.

    Raises:
        StoreError: they could not be written whole.
    """
    folder, number = stick / name, 1
    while folder.exists():
        number += 1
        folder = stick / f"{name}-{number}"
    try:
        for path, content in files.items():
            target = folder / path
            if not target.resolve().is_relative_to(folder.resolve()):
                raise InputError(f"{path}: this is no name of a file in a folder")
            target.parent.mkdir(parents=True, exist_ok=True)
            write_whole(target, content)
        sync_folder(folder)
        sync_folder(stick)
    except OSError as error:
        raise StoreError(f"{folder}: cannot be written ({error.strerror}); is the stick full or pulled out?") from error
    return folder
