"""One order for the records of many sources: nothing is decided before all who could object have spoken.

What may live here: waiting records and, for each source, the time up to which it has spoken. No clock, no thread, no
file: silence of a source is for the loop to notice.

Arrival order is not time order. A picture of 10:00:00.00 arrives 80 ms after the edge of 10:00:00.05, and on a busy
machine the other way round. So a record waits here until every live source has spoken past it; then records leave in
the order of their stamps, and the order in which they arrived has left no trace.

- A source has spoken up to t when it sent `Quiet(t)`, or a `Frame` of t (a camera stamps no two pictures alike).
- After any other record of t it has spoken up to t − 1: two beams can break in the same nanosecond.
- *Settled time* is the smallest time up to which every live source has spoken. An unbroken beam says nothing; it is
  the `Quiet`s that move settled time on.
- A source that sends a lasting `Fault`, or ends, is asked no more.
- A record that breaks its own source's word (a `Quiet` of a later time came first) leaves as a `Fault` that names it.
- Ties are settled by what happened (people, edges, pictures, trouble), then by gate or source, then by the source's own
  order; never by arrival.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping

from logger.records import ClockDoubt, Edge, Fault, Fix, Frame, Key, Quiet, Record

_NEVER = -(2**63)
_RANK: dict[type, int] = {Key: 0, Edge: 1, Frame: 2, Fix: 3, Fault: 4, ClockDoubt: 5}


class Settled:
    """Takes records as they arrive and gives them back in the order in which they happened."""

    def __init__(self, sources: Iterable[str]) -> None:
        self._spoken_ns: dict[str, int] = dict.fromkeys(sources, _NEVER)
        self._known = frozenset(self._spoken_ns)
        self._waiting: list[tuple[int, int, str, int, Record]] = []
        self._counter = 0
        self._ended_ns: dict[str, int] = {}
        self._last_edge_ns: dict[str, int] = {}
        self._latest_ns = _NEVER

    @property
    def settled_ns(self) -> int:
        """Nothing stamped up to this time can still arrive; with no live source left, the latest stamp of all."""
        return min(self._spoken_ns.values(), default=self._latest_ns)

    @property
    def live(self) -> frozenset[str]:
        """Names of the sources that settled time waits for."""
        return frozenset(self._spoken_ns)

    def waiting(self) -> list[Record]:
        """The records that are held back, in order of time."""
        return [item[-1] for item in sorted(self._waiting, key=lambda item: item[:-1])]

    def swap(self, lighter: Mapping[int, Record]) -> None:
        """Hold other records instead of some that wait: by id() of the old one, of the same time and source."""
        self._waiting = [(*key, lighter.get(id(record), record)) for *key, record in self._waiting]  # type: ignore[misc]

    def feed(self, record: Record) -> bool:
        """Take one record of a live source; those of one source come in its own order. True: it waits here now."""
        source = record.source
        if source not in self._known:
            raise ValueError(f"inbox: a record from {source!r}; known are {', '.join(sorted(self._known))}")
        why = self._complaint(record)
        if why:
            if not isinstance(record, Quiet):
                self._push(_refused(record, why=why, t_ns=max(record.t_ns, self._word_ns(source))))
            return False
        self._spoken_ns[source] = record.t_ns if isinstance(record, Quiet | Frame) else record.t_ns - 1
        self._latest_ns = max(self._latest_ns, record.t_ns)
        if isinstance(record, Edge):
            self._last_edge_ns[record.gate] = record.t_ns
        if isinstance(record, Fault) and record.lasting:
            self.end(source)
        if isinstance(record, Quiet):
            return False
        self._push(record)
        return True

    def lose(self, source: str, *, what: str, cure: str) -> None:
        """A source has fallen silent: give it up, with a Fault from its last word on."""
        since_ns = self._spoken_ns[source]
        t_ns = self._latest_ns if since_ns == _NEVER else since_ns + 1
        self.feed(Fault(t_ns, source, what, cure, since_ns=t_ns, lasting=True))

    def _complaint(self, record: Record) -> str:
        """Why this record cannot take part in the order; empty if it can."""
        if record.source not in self._spoken_ns:
            return "its source had already ended"
        if record.t_ns <= self._spoken_ns[record.source]:
            return f"its source had promised nothing more up to {self._spoken_ns[record.source]}"
        if isinstance(record, Edge) and record.t_ns == self._last_edge_ns.get(record.gate):
            return "the gate has an edge at that time already"
        return ""

    def _word_ns(self, source: str) -> int:
        return self._spoken_ns.get(source, self._ended_ns.get(source, 0))

    def add(self, fix: Fix) -> None:
        """Take a position made from a picture that has already left; it is not older than that picture."""
        self._push(fix)

    def end(self, source: str) -> None:
        """The source has ended in good order: settled time no longer waits for it."""
        self._ended_ns[source] = self._spoken_ns.pop(source)

    def pop(self) -> Record | None:
        """The next record in order, or None while a live source could still send an earlier one."""
        if not self._waiting or (self._spoken_ns and self._waiting[0][0] > self.settled_ns):
            return None
        return heapq.heappop(self._waiting)[-1]

    def _push(self, record: Record) -> None:
        name = record.gate if isinstance(record, Edge) else record.source
        self._counter += 1  # of one source's records the earlier fed is the earlier; others never tie so far
        heapq.heappush(self._waiting, (record.t_ns, _RANK[type(record)], name, self._counter, record))


def _refused(record: Record, *, why: str, t_ns: int) -> Fault:
    match record:
        case Edge(gate=gate, blocked=blocked):
            what = f"edge of gate {gate} ({'blocked' if blocked else 'clear'})"
        case Fault(what=words):
            what = f"fault ({words})"
        case _:
            what = type(record).__name__.lower()
    return Fault(
        t_ns=t_ns,
        source=record.source,
        what=f"{what} stamped {record.t_ns} left out of the order of time: {why}",
        cure="the times of this source cannot be trusted in this run; run again, and report the driver",
        since_ns=record.t_ns,
    )
