"""Files and folders that the commands make: whole or not at all, and never over something else."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from logger.errors import InputError


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


def write_whole(path: Path, text: str) -> None:
    """Write `path` so that at any instant it holds the old text or the new one, never a part.

    Raises:
        OSError: the folder is not writable or full; nothing is left behind.
    """
    handle, scratch = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        # mkstemp makes files that only their owner can read; a recording is for everybody who may read its folder
        os.chmod(scratch, 0o666 & ~_umask())
        os.replace(scratch, path)
    except BaseException:
        Path(scratch).unlink(missing_ok=True)
        raise


def keep_beside(path: Path, text: str) -> Path | None:
    """Write `text` to `path`; what stood there before, if it differs, is kept as name-1, name-2 ...

    Returns:
        Where the older text went, or None if there was none or it was the same (then nothing is written).

    Raises:
        OSError: as `write_whole`.
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


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
