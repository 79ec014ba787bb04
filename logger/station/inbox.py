"""The one inbox: driver threads put records in, the loop takes them out.

It is bounded for each source by itself. A camera that is far ahead waits at its own limit and cannot starve the edges,
nor can a storm of edges push out pictures. A record counts against its source's limit until the loop has *released* it,
so that what the loop holds back is bounded too. Nothing is ever thrown away here: a source at its limit waits.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from logger.records import Frame, Record

FRAMES_COUNT = 16
"""Pictures of 1280 × 720 are 2.8 MB: 44 MB for half a second at 30 a second."""
OTHERS_COUNT = 5_000
"""Edges, keys and words of silence."""

AT_ONCE_COUNT = 500
"""So many records are taken out in one go: enough to share the cost, few enough to look round between."""


@dataclass(frozen=True, slots=True)
class Ended:
    """A source's thread has come to its end."""

    source: str


@dataclass(frozen=True, slots=True)
class Fill:
    """How full the inbox is and was, for people who look into it."""

    waiting_count: int
    """Records put in and not yet released."""
    peak_count: int
    """The most that there ever were."""
    frames_peak_count: int
    """The most pictures that there ever were."""


class _Share:
    """One source's part of the inbox: counters, and when it last spoke."""

    def __init__(self, now_ns: int) -> None:
        self.frames_count = 0
        self.others_count = 0
        self.spoke_ns = now_ns
        self.is_waiting = False
        self.has_ended = False


class Inbox:
    """A queue of records with a limit for each source. `put` is for driver threads, the rest for the loop."""

    def __init__(
        self,
        sources: Iterable[str],
        *,
        frames_count: int = FRAMES_COUNT,
        others_count: int = OTHERS_COUNT,
        clock: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._frames_most, self._others_most, self._clock = frames_count, others_count, clock
        self._shares: dict[str, _Share] = {source: _Share(clock()) for source in sources}
        self._queue: deque[Record | Ended] = deque()
        self._changed = threading.Condition()
        self._is_closed = False
        self._waiting_count = self._peak_count = 0
        self._frames_waiting_count = self._frames_peak_count = 0

    def put(self, record: Record) -> bool:
        """Put a record in; waits while its source is at its limit. False: the inbox is closed."""
        share = self._shares[record.source]
        with self._changed:
            share.spoke_ns = self._clock()
            while not self._is_closed and self._is_full(share, record):
                share.is_waiting = True
                self._changed.wait()
            share.is_waiting = False
            share.spoke_ns = self._clock()
            if self._is_closed:
                return False
            self._count(share, record, 1)
            self._queue.append(record)
            self._changed.notify_all()
        return True

    def end(self, source: str) -> None:
        """The thread of `source` has come to its end; what it put in before still counts."""
        with self._changed:
            self._shares[source].has_ended = True
            self._queue.append(Ended(source))
            self._changed.notify_all()

    def take(self, timeout_s: float, *, most: int = AT_ONCE_COUNT) -> list[Record | Ended]:
        """What has come, in order of arrival, the `most` first of it; waits up to `timeout_s` for something to come."""
        with self._changed:
            if not self._queue:
                self._changed.wait(timeout_s)
            return [self._queue.popleft() for _ in range(min(most, len(self._queue)))]

    def release(self, records: Iterable[Record]) -> None:
        """The loop is done with these records: their places are free again."""
        with self._changed:
            for record in records:
                self._count(self._shares[record.source], record, -1)
            self._changed.notify_all()

    def silent(self, after_ns: int) -> list[str]:
        """Sources that could speak and have not for longer than `after_ns`.

        One that waits at its limit cannot speak, so it is not silent; unless all wait: then nobody is left who could
        move time on, and they are stuck.
        """
        with self._changed:
            now_ns = self._clock()
            there = {source: share for source, share in self._shares.items() if not share.has_ended}
            are_stuck = not self._queue and all(share.is_waiting for share in there.values())
            return [
                source
                for source, share in there.items()
                if (are_stuck or not share.is_waiting) and now_ns - share.spoke_ns > after_ns
            ]

    def frames_waiting(self, source: str) -> int:
        """Pictures of `source` that were put in and not yet released."""
        with self._changed:
            return self._shares[source].frames_count

    def close(self) -> None:
        """Refuse everything from now on and set waiting sources free."""
        with self._changed:
            self._is_closed = True
            self._changed.notify_all()

    @property
    def fill(self) -> Fill:
        """How full it is."""
        with self._changed:
            return Fill(self._waiting_count, self._peak_count, self._frames_peak_count)

    def _is_full(self, share: _Share, record: Record) -> bool:
        if isinstance(record, Frame):
            return share.frames_count >= self._frames_most
        return share.others_count >= self._others_most

    def _count(self, share: _Share, record: Record, step: int) -> None:
        self._waiting_count += step
        self._peak_count = max(self._peak_count, self._waiting_count)
        if isinstance(record, Frame):
            share.frames_count += step
            self._frames_waiting_count += step
            self._frames_peak_count = max(self._frames_peak_count, self._frames_waiting_count)
        else:
            share.others_count += step
