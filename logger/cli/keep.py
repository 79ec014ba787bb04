"""Files and folders that the commands make: whole or not at all, and never over something else."""

from __future__ import annotations

import os
from pathlib import Path

from logger.errors import InputError
from logger.settings import write_whole


def refuse_if_used(folder: Path) -> None:
    """Raise InputError unless `folder` is new or an empty folder."""
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: this is a file; wanted a new or empty folder; choose another name")
    if folder.exists() and any(folder.iterdir()):
        raise InputError(f"{folder}: found files in it; wanted a new or empty folder; choose another name")


def new_folder(folder: Path) -> Path:
    """Make `folder`, which must be new or empty. InputError if it is not, or cannot be made."""
    try:
        refuse_if_used(folder)
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be made ({error.strerror}); choose another name") from error
    return folder


def keep_beside(path: Path, text: str) -> Path | None:
    """Write `text` to `path`; what stood there before, if it differs, is kept as name-1, name-2 ...

    Returns:
        Where the older text went, or None if there was none or it was the same (then nothing is written).

    Raises:
        OSError: as `logger.settings.write_whole`.
    """
    older = None
    if path.exists():
        if path.read_bytes() == text.encode():
            return None
        older = _set_aside(path)
    write_whole(path, text)
    return older


def _set_aside(path: Path) -> Path:
    """Give the file at `path` a second, numbered name; a hard link, so that there is no moment without it."""
    number = 1
    while True:
        older = path.with_name(f"{path.stem}-{number}{path.suffix}")
        try:
            os.link(path, older)
        except FileExistsError:
            number += 1
        except (PermissionError, NotImplementedError, OSError) as error:
            if isinstance(error, PermissionError) and not os.access(path.parent, os.W_OK):
                raise
            # memory sticks (FAT) know no hard links
            if older.exists():
                number += 1
                continue
            write_whole(older, path.read_text(encoding="utf-8"))
            return older
        else:
            return older
