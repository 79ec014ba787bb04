"""Folders that the commands make: never over something else."""

from __future__ import annotations

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
