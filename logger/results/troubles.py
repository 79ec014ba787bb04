"""What the sources said against themselves: trouble in the run, and how well their clocks were known.

A fault with a beginning makes doubtful what its source said from then until it was told. A fault of one gate begins
with the words "gate NAME: "; any other fault of the gates' source speaks of all of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from logger.config import GATES_SOURCE
from logger.recording.folder import Event
from logger.recording.sensor_tables import CLOCK_DOUBT, read_clock_doubt, read_fault

_OF_GATE = re.compile(r"gate (?P<gate>.{1,40}?): ")
_TOLD_COUNT = 3
"""Of the faults of one source so many are told in full."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One fault that a source reported."""

    source: str
    gate: str | None
    """The gate that it is about; None: all gates of the source, or no gate at all."""
    since_ns: int
    until_ns: int
    words: str

    def concerns(self, gate: str, t_ns: int) -> bool:
        """Whether what `gate` said of the moment `t_ns` may be wrong."""
        is_about = self.gate == gate or (self.gate is None and self.source == GATES_SOURCE)
        return is_about and self.since_ns <= t_ns <= self.until_ns


def troubles(events: Iterable[Event]) -> tuple[Trouble, ...]:
    """All faults of a recording, in order of the time at which they were told."""
    return tuple(_trouble(event) for event in events if event.event == "fault")


def _trouble(event: Event) -> Trouble:
    fault = read_fault(event)
    since_ns = event.t_ns if fault.since_ns is None else min(fault.since_ns, event.t_ns)
    named = _OF_GATE.match(fault.what)
    gate = named["gate"] if named is not None else None
    words = f"{fault.what}; {fault.cure}" if fault.cure else fault.what
    return Trouble(event.source, gate, since_ns, event.t_ns, words)


def told(found: Sequence[Trouble], *, origin_ns: int, from_ns: int, until_ns: int) -> list[str]:
    """A sentence for each fault between two moments; of a source that never stops complaining only the first few."""
    sentences: list[str] = []
    counts: dict[str, int] = {}
    for trouble in found:
        if trouble.until_ns < from_ns or trouble.since_ns > until_ns:
            continue
        counts[trouble.source] = counts.get(trouble.source, 0) + 1
        if counts[trouble.source] <= _TOLD_COUNT:
            at_s = (trouble.until_ns - origin_ns) / 1e9
            sentences.append(f"Trouble at {at_s:.3f} s, told by {trouble.source or 'a source'}: {trouble.words}.")
    sentences += [
        f"{count - _TOLD_COUNT} more times {source or 'a source'} told of trouble; the recording's events name them."
        for source, count in counts.items()
        if count > _TOLD_COUNT
    ]
    return sentences


def u_clock_s(events: Sequence[Event], source: str, *, from_ns: int, until_ns: int) -> float:
    """How well the clock of `source` was known at worst during the run: standard uncertainty in s; 0 if never told.

    What was said last before `from_ns` holds until it is said anew.
    """
    said = [
        (event.t_ns, read_clock_doubt(event).u_ns / 1e9)
        for event in events
        if event.event == CLOCK_DOUBT and event.source == source
    ]
    before = [u_s for t_ns, u_s in said if t_ns <= from_ns][-1:]
    return max([*before, *(u_s for t_ns, u_s in said if from_ns < t_ns <= until_ns)], default=0.0)
