"""Files that only grow, by whole pieces, and the lines that go into them."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import TypeAlias

from logger.recording.recovery import NEW

Write: TypeAlias = Callable[[int, memoryview], int]
"""Writes as many of the bytes as it can into an open file and says how many: `os.write`."""


class Growing:
    """A new file that only grows, by whole pieces: what could not be written whole is taken back."""

    def __init__(self, path: Path, write: Write = os.write) -> None:
        self.path, self._write = path, write
        self._file = path.open("xb", buffering=0)
        self._size = 0

    @property
    def handle(self) -> int:
        """The open file's number, to sync it."""
        return self._file.fileno()

    def append(self, data: bytes) -> None:
        """Add all of `data`, or nothing and raise OSError."""
        rest = memoryview(data)
        try:
            while rest:
                rest = rest[self._write(self.handle, rest) :]
        except OSError:
            self._file.truncate(self._size)
            self._file.seek(self._size)
            raise
        self._size += len(data)

    def close(self) -> None:
        """Nothing can be added any more."""
        self._file.close()


def line(cells: Sequence[object]) -> bytes:
    """`cells` as one line of a comma-separated table; None is empty."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(cells)
    return text.getvalue().encode()


def plain(text: str, *, most: int) -> str:
    """`text` on one line, cut to `most` letters, without what a table refuses."""
    words = "".join(letter if letter.isprintable() else " " for letter in text).split()
    return " ".join(words)[:most].rstrip()


def sort_lines(path: Path, sync: Callable[[int], None]) -> None:
    """Put the lines of the table at `path` in order of the number in their first column, each line once."""
    head, *lines = path.read_bytes().splitlines(keepends=True)
    lines.sort(key=lambda text: int(text.split(b",", 1)[0]))
    with closing(Growing(path.with_name(f".{path.name}{NEW}"))) as new:
        new.append(head + b"".join(dict.fromkeys(lines)))
        sync(new.handle)
    new.path.replace(path)
