"""The folder in which recordings stand: one live recorder at a time writes there, and tidies up after broken ones.

The lock is the kernel's (flock(2)) on the folder itself: it leaves no file behind, and is gone when its process is,
however that ended.
"""

from __future__ import annotations

import errno
import fcntl
import logging
import os
from pathlib import Path
from types import TracebackType
from typing import Self

from logger.errors import StoreError
from logger.recording.recovery import find_unfinished, free_space

log = logging.getLogger(__name__)

_NO_LOCKS_HERE = (errno.ENOLCK, errno.EOPNOTSUPP, errno.EBADF, errno.EINVAL, errno.ENOSYS)


class Place:
    """A folder that this recorder writes recordings into, until it is closed. Use with `with`, or `close`."""

    def __init__(self, folder: Path, *, alone: bool = True) -> None:
        """Take `folder`, which is there, and tidy it up if it is taken alone.

        Args:
            folder: Where recordings stand.
            alone: Nobody else writes there meanwhile; needed where time does not wait. Otherwise others that are not
                alone either may, each its own recordings.

        Raises:
            StoreError: another recorder, or another recording of this one, has it.
            OSError: it cannot be opened.
        """
        self.folder = folder
        self._handle: int | None = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            self._lock(self._handle, fcntl.LOCK_EX if alone else fcntl.LOCK_SH)
        except BaseException:
            self.close()
            raise
        for left in find_unfinished(folder) if alone else ():
            free_space(left)

    def _lock(self, handle: int, kind: int) -> None:
        try:
            fcntl.flock(handle, kind | fcntl.LOCK_NB)
        except BlockingIOError:
            raise StoreError(
                f"{self.folder}: {_holder(handle)} is recording into it; one recorder at a time is wanted; "
                "end the other one, or record into another folder"
            ) from None
        except OSError as error:
            if error.errno not in _NO_LOCKS_HERE:
                raise
            log.warning(
                "%s: cannot be locked on this disk (%s); let no second recorder write there", self.folder, error
            )

    def close(self) -> None:
        """Let others in. May be called twice."""
        handle, self._handle = self._handle, None
        if handle is not None:
            os.close(handle)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _holder(handle: int) -> str:
    """Who holds the lock of an open folder, from the kernel's list (proc_locks(5)), as far as that says so."""
    found = os.fstat(handle)
    wanted = (os.major(found.st_dev), os.minor(found.st_dev), found.st_ino)
    try:
        lines = Path("/proc/locks").read_text(encoding="ascii").splitlines()
    except OSError:
        lines = []
    for line in lines:
        words = line.split()
        if len(words) >= 6 and words[1] == "FLOCK" and _inode(words[5]) == wanted:
            return "this same program" if int(words[4]) == os.getpid() else f"another recorder (process {words[4]})"
    return "another recorder"


def _inode(text: str) -> tuple[int, int, int]:
    """(major, minor, inode) of MAJOR:MINOR:INODE, of which the first two are hexadecimal."""
    major, minor, inode = text.split(":")
    return int(major, 16), int(minor, 16), int(inode)
