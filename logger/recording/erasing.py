"""Taking the film out of a recording for good. What was measured from it stays; what could be seen in it is gone.

A recording without its film is one of gates alone (FORMATS.md), so the stamps of its pictures get a name under which
they are only kept: `frames-erased.csv`.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from logger.errors import StoreError
from logger.settings import sync_folder

STAMPS, KEPT_STAMPS = "frames.csv", "frames-erased.csv"


def films(recordings: Path) -> Iterator[Path]:
    """The films of all recordings in a folder, unfinished ones too."""
    for folder in sorted(recordings.iterdir()) if recordings.is_dir() else []:
        if folder.is_dir() and not folder.is_symlink():
            yield from sorted(path for path in folder.glob("video.*") if path.is_file())


def erase_film(film: Path) -> int:
    """Erase it; how many bytes it had. StoreError: it cannot be erased; then it is whole still."""
    try:
        size = film.stat().st_size
        stamps = film.parent / STAMPS
        if stamps.exists():
            stamps.replace(film.parent / KEPT_STAMPS)
        film.unlink()
        sync_folder(film.parent)
    except OSError as error:
        raise StoreError(f"{film}: cannot be erased ({error.strerror}); check its rights, then try again") from error
    return size
