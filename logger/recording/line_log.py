"""A log that only grows: one JSON table a line, each on the disk itself before `append` returns.

One program at a time may write (flock). A line that a power cut tore was never believed by anybody; it is taken away
when the log is opened for writing, and passed over by who only reads. Any other line that cannot be read is an error:
what stands behind it would mean something else without it.
"""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from logger.errors import InputError, StoreError
from logger.settings import sync_folder

MOST_BYTES = 50_000_000
"""A log larger than this is something else under the wrong name."""


class LineLog:
    """The log at `path`, open for writing. Use with `with`, or `close` it."""

    def __init__(self, path: Path) -> None:
        """Open it, or make it.

        Raises:
            StoreError: it cannot be opened or made, or another program writes it.
            InputError: it cannot be read.
        """
        self.path = path
        self.tables: list[dict[str, Any]] = []
        """What stood in it when it was opened."""
        try:
            is_new = not path.exists()
            self._file = path.open("r+b" if not is_new else "x+b", buffering=0)
        except OSError as error:
            raise StoreError(f"{path}: cannot be opened ({error.strerror}); check the folder and its rights") from error
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            data = self._file.read()
            whole = data.rfind(b"\n") + 1
            self.tables = _tables(path, data[:whole])
            if whole < len(data):
                self._file.truncate(whole)
            self._file.seek(whole)
            if is_new:
                sync_folder(path.parent)
        except BlockingIOError as error:
            self._file.close()
            raise StoreError(f"{path}: another program writes it; close that one first") from error
        except BaseException:
            self._file.close()
            raise

    def append(self, table: Mapping[str, Any]) -> None:
        """Add a line; on return it is on the disk itself. StoreError: it is not, and nothing was added."""
        data = json.dumps(table, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode() + b"\n"
        end = self._file.tell()
        try:
            written = 0
            while written < len(data):
                written += self._file.write(data[written:]) or 0
            os.fsync(self._file.fileno())
        except OSError as error:
            self._take_back(end)
            raise StoreError(f"{self.path}: cannot be written ({error.strerror}); free some space") from error

    def _take_back(self, end: int) -> None:
        """Half a line would spoil the next one."""
        try:
            self._file.truncate(end)
            self._file.seek(end)
        except OSError as error:
            raise StoreError(f"{self.path}: a line is torn and cannot be taken away ({error.strerror})") from error

    def close(self) -> None:
        """Give the file back. May be called twice."""
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def read_lines(path: Path) -> list[dict[str, Any]]:
    """The whole lines of the log at `path`, also while it is written. InputError: it cannot be read."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); check the path and its permissions") from error
    return _tables(path, data[: data.rfind(b"\n") + 1])


def _tables(path: Path, data: bytes) -> list[dict[str, Any]]:
    if len(data) > MOST_BYTES:
        raise InputError(f"{path}: larger than {MOST_BYTES} bytes; this is no log of a lesson")
    found = []
    for number, line in enumerate(data.splitlines(), start=1):
        try:
            table = json.loads(line)
        except (ValueError, RecursionError) as error:
            raise InputError(f"{path}: line {number} cannot be read; put back the file from a backup") from error
        if not isinstance(table, dict):
            raise InputError(f"{path}: line {number} is no table; put back the file from a backup")
        found.append(table)
    return found
