"""Records of a live source, put into the order of their stamps before anybody hears them.

An edge is read after it was stamped, and two beams' edges may be read the wrong way round: the kernel stamps in the
interrupt and queues in a thread of each line. So what was read waits here until the source can promise that nothing
earlier is still under way; then it leaves in order, with a `Quiet` wherever nothing happened for long. What comes later
than promised cannot take part in the order any more. It leaves as a `Fault` that says all that the record said.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import replace
from typing import TypeAlias

from logger.records import ClockDoubt, Edge, Fault, Key, Quiet

QUIET_EVERY_NS = 50_000_000
"""How often a source promises; half of what is asked of it."""
LONGEST_QUIET_NS = 100_000_000
"""The longest that stamps of one source may lie apart."""

Ordered: TypeAlias = Edge | Key | Fault | ClockDoubt


class InOrder:
    """Takes records as they are read; gives them back in order, as far as a promised time."""

    def __init__(self, *, source: str, begins_ns: int) -> None:
        """`begins_ns`: nothing of this source is older."""
        self._source = source
        self._promised_ns = begins_ns
        self._said_ns: int | None = None
        self._waiting: list[tuple[int, int, Ordered]] = []
        self._counter = 0

    @property
    def promised_ns(self) -> int:
        """Nothing stamped up to this time will leave any more."""
        return self._promised_ns

    def add(self, record: Ordered) -> None:
        """Take a record; of several with one stamp, the one that was added first leaves first."""
        if record.t_ns <= self._promised_ns:
            record = _too_late(record, promised_ns=self._promised_ns)
        self._counter += 1
        heapq.heappush(self._waiting, (record.t_ns, self._counter, record))

    def up_to(self, horizon_ns: int) -> Iterator[Ordered | Quiet]:
        """The records up to `horizon_ns`, which is promised by this: nothing up to there is still under way."""
        if self._said_ns is None:
            yield self._quiet(self._promised_ns)
        while self._waiting and self._waiting[0][0] <= horizon_ns:
            t_ns, _, record = heapq.heappop(self._waiting)
            yield from self._silence(t_ns)
            self._said_ns, self._promised_ns = t_ns, max(self._promised_ns, t_ns - 1)
            yield record
        yield from self._silence(horizon_ns)
        if horizon_ns - (self._said_ns or 0) >= QUIET_EVERY_NS:
            yield self._quiet(horizon_ns)
        self._promised_ns = max(self._promised_ns, horizon_ns)

    def rest(self) -> Iterator[Ordered | Quiet]:
        """All that still waits: the source has come to its end."""
        if self._waiting:
            yield from self.up_to(max(item[0] for item in self._waiting))

    def _silence(self, until_ns: int) -> Iterator[Quiet]:
        """Quiets so that none of the gaps up to `until_ns` is too long."""
        while self._said_ns is not None and until_ns - self._said_ns > LONGEST_QUIET_NS:
            yield self._quiet(self._said_ns + LONGEST_QUIET_NS)

    def _quiet(self, t_ns: int) -> Quiet:
        self._said_ns, self._promised_ns = t_ns, max(self._promised_ns, t_ns)
        return Quiet(t_ns, self._source)


def _too_late(record: Ordered, *, promised_ns: int) -> Fault:
    t_ns = promised_ns + 1
    if isinstance(record, Fault):
        return replace(record, t_ns=t_ns, since_ns=min(record.t_ns, record.since_ns or record.t_ns))
    match record:
        case Edge(gate=gate, blocked=blocked, count=count):
            number = "" if count is None else f", number {count}"
            what = f"gate {gate}: an edge ({'blocked' if blocked else 'clear'}{number})"
        case Key(key=key):
            what = f"key {key}"
        case ClockDoubt(words=words):
            what = f"a word about the clock ({words})"
    late_ms = (t_ns - record.t_ns) / 1e6
    return Fault(
        t_ns,
        record.source,
        f"{what} of {record.t_ns} ns came {late_ms:.1f} ms too late for the order of time and is left out",
        "end other programs, and run again: the computer was too busy",
        since_ns=record.t_ns,
    )
