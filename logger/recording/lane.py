"""A lane to the disk: what is handed over is written by one thread and put on the disk itself by another.

So whoever hands over never waits for the disk, and a sync that takes seconds holds up no write. Pieces are written in
the order in which they were handed over, at once; what was written within a short time shares one sync. What waits is
bounded in bytes: beyond that, handing over waits too, or is refused. The age of the oldest piece that is not on the
disk yet is always known.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import Generic, TypeVar

from logger.errors import StoreError

P = TypeVar("P")
AT_ONCE_BYTES = 1_000_000
"""The most that is written in one go, so that it is soon known how far the writing has come."""


class Lane(Generic[P]):
    """Pieces on their way to the disk. All methods may be called from any thread."""

    def __init__(
        self,
        name: str,
        *,
        write: Callable[[Sequence[P]], None],
        sync: Callable[[], None],
        group_s: float,
        most_bytes: int,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        """Start the two threads.

        Args:
            name: What the threads are called.
            write: Writes pieces, in order. Called by one thread only. An error of it ends the lane.
            sync: Puts all that was written before the call on the disk itself. Called by another thread.
            group_s: How long something written waits for more that shares its sync.
            most_bytes: How much may wait to be written.
            now_ns: The clock for ages.
        """
        self._write, self._sync, self._now_ns = write, sync, now_ns
        self._group_s, self._most_bytes = group_s, most_bytes
        lock = threading.Lock()
        self._to_write, self._to_sync = threading.Condition(lock), threading.Condition(lock)
        self._changed = threading.Condition(lock)
        self._queue: deque[tuple[int, int, P]] = deque()
        self._bytes = 0
        self._is_idle = self._is_closing = self._is_all_written = False
        self._writing_ns: int | None = None
        self._written_ns: int | None = None
        self._syncing_ns: int | None = None
        self._error: Exception | None = None
        self._threads = [
            threading.Thread(target=self._run, args=(work,), name=f"{name}-{work.__name__.strip('_')}", daemon=True)
            for work in (self._write_all, self._sync_all)
        ]
        for thread in self._threads:
            thread.start()

    def hand(self, piece: P, size_bytes: int, *, can_wait: bool = True) -> bool:
        """Hand over one piece; False: there is no room, and it is not to wait for some.

        Raises:
            StoreError: the lane has ended: what was handed over earlier could not be written.
        """
        with self._changed:
            while self._bytes and self._bytes + size_bytes > self._most_bytes and self._error is None:
                if not can_wait:
                    return False
                self._changed.wait()
            self._raise_error()
            self._queue.append((self._now_ns(), size_bytes, piece))
            self._bytes += size_bytes
            if self._is_idle:
                self._is_idle = False
                self._to_write.notify()
        return True

    def flush(self) -> None:
        """Wait until everything handed over is written. StoreError if it cannot be."""
        with self._changed:
            self._changed.wait_for(lambda: not self._bytes or self._error)
            self._raise_error()

    def close(self) -> None:
        """Write everything, put it on the disk, end the threads. StoreError if something could not be."""
        with self._changed:
            self._is_closing = True
            self._notify()
        for thread in self._threads:
            thread.join()
        with self._changed:
            self._raise_error()

    def check(self) -> None:
        """StoreError if something handed over could not be written or put on the disk."""
        with self._changed:
            self._raise_error()

    @property
    def unsafe_since_ns(self) -> int | None:
        """When the oldest piece was handed over that is not on the disk yet; None if all are."""
        with self._changed:
            waiting_ns = self._queue[0][0] if self._queue else None
            ages = (self._syncing_ns, self._written_ns, self._writing_ns, waiting_ns)
            return next((t_ns for t_ns in ages if t_ns is not None), None)

    @property
    def waiting_bytes(self) -> int:
        """How much was handed over and is not written yet."""
        with self._changed:
            return self._bytes

    def _run(self, work: Callable[[], None]) -> None:
        try:
            work()
        except Exception as error:  # arrives where the next piece is handed over
            with self._changed:
                self._error = self._error or error
                self._notify()

    def _raise_error(self) -> None:
        if isinstance(self._error, StoreError):
            raise StoreError(str(self._error)) from self._error
        if self._error is not None:
            raise self._error

    def _notify(self) -> None:
        for condition in (self._to_write, self._to_sync, self._changed):
            condition.notify_all()

    def _write_all(self) -> None:
        while pieces := self._next_pieces():
            self._write([piece for _, _, piece in pieces])
            with self._changed:
                if self._written_ns is None:
                    self._written_ns = self._writing_ns
                    self._to_sync.notify()
                self._writing_ns = None
                self._bytes -= sum(size for _, size, _ in pieces)
                self._changed.notify_all()
        with self._changed:
            self._is_all_written = True
            self._notify()

    def _next_pieces(self) -> list[tuple[int, int, P]]:
        """What is to be written next; nothing once the lane is closing and all is written."""
        with self._changed:
            while not self._queue and not self._is_closing and self._error is None:
                self._is_idle = True
                self._to_write.wait()
            pieces: list[tuple[int, int, P]] = []
            total = 0
            while self._queue and self._error is None and (not pieces or total + self._queue[0][1] <= AT_ONCE_BYTES):
                pieces.append(self._queue.popleft())
                total += pieces[-1][1]
            self._writing_ns = pieces[0][0] if pieces else None
            return pieces

    def _sync_all(self) -> None:
        while self._next_sync():
            self._sync()
            with self._changed:
                self._syncing_ns = None
                self._changed.notify_all()

    def _next_sync(self) -> bool:
        """Wait until a sync is due; False once the lane is closing and all is on the disk."""
        with self._changed:
            self._to_sync.wait_for(lambda: self._written_ns is not None or self._has_ended())
            if self._error is not None or self._written_ns is None:
                return False
            self._to_sync.wait_for(self._has_ended, self._group_s)
            self._syncing_ns, self._written_ns = self._written_ns, None
            return True

    def _has_ended(self) -> bool:
        return self._is_all_written or self._error is not None
