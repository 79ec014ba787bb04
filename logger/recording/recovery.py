"""Recordings that were cut short: how they are known, and where they are.

A recorder works in a folder whose name ends in `.unfinished` and takes that ending away when all is on disk. So a
folder that still has it was cut short by a crash or a pulled plug. It is opened like any other, up to its last whole
line and picture, with a doubt that says so. Nothing recorded in it is changed or deleted; what the recorder had set
aside for itself is given back when the next one begins.
"""

from __future__ import annotations

from contextlib import suppress
from itertools import count
from pathlib import Path

ENDING = ".unfinished"
RESERVE = ".reserve"
"""Space set aside in a growing recording for edges and events, for when the disk is full."""
NEW = ".new"
"""Ending of a file that is to take the place of another; its name begins with a dot."""


def unfinished_name(folder: Path) -> Path:
    """Where the recording that is to become `folder` is kept while it grows."""
    return folder.with_name(folder.name + ENDING)


def free_id(folder: Path, stem: str) -> str:
    """The first of stem-1, stem-2 ... that no recording in `folder` has, be it finished or not."""
    names = (f"{stem}-{number}" for number in count(1))
    return next(n for n in names if not (folder / n).exists() and not unfinished_name(folder / n).exists())


def is_unfinished(folder: Path) -> bool:
    """True if a recorder has not closed the recording in `folder`: it was cut short, or it is still growing."""
    return folder.resolve().name.endswith(ENDING)


def find_unfinished(place: Path) -> list[Path]:
    """The recordings in the folder `place` that were not closed, in order of their names."""
    return sorted(path for path in place.glob(f"*{ENDING}") if path.is_dir())


def free_space(folder: Path) -> None:
    """Give back the space that the recorder of an unfinished recording had set aside and holds no records.

    May be called again at any time, but not while a recorder works in `folder`. Where nothing may be changed, such as
    on a read-only disk, nothing is.
    """
    for path in (folder / RESERVE, *folder.glob(f".*{NEW}")):
        with suppress(OSError):
            path.unlink(missing_ok=True)
