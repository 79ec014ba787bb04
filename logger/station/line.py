"""The straight line of one run, without threads and without a clock.

    arrival -> settled -> journal -> referee
                             `-> live tracker -> (position) -> settled

A record is put into the order of time, handed to the recorder, and only then looked at. So the recording, byte for
byte, and the referee's history do not depend on the order in which the sources' records happened to arrive. The price
is that a record waits in memory for the slowest source, as a rule a tenth of a second. When a source hangs, the loop
has the waiting ones written before their turn: then safe goes before orderly.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from logger.config import Rig, RunCard
from logger.recording.folder import Event
from logger.recording.journal import Journal
from logger.records import Edge, Fix, Frame, Record
from logger.station.referee import NAME, Begin, Referee
from logger.station.settled import Settled

_NO_IMAGE = np.empty((0, 0, 3), np.uint8)


class LiveTracker(Protocol):
    """Finds the boat in one picture after the other, quickly."""

    def feed(self, frame: Frame) -> Fix | None:
        """Where the boat is in `frame`, or None if it is not seen."""
        ...


@dataclass(frozen=True, slots=True)
class Plan:
    """One run as it is to be recorded and judged."""

    card: RunCard
    rig: Rig
    folder: Path
    """Where the recording is to stand; must not exist yet."""
    calibration: bytes | None = None
    """Contents of the camera's calibration file, for a rig with a camera."""
    kept_view: bytes | None = None
    """A PNG of the rig as it was calibrated, if one was kept."""
    begin: Begin = "hands_off"
    tail_s: float = 0.5
    """How much longer than the run the recording goes on ..."""
    clear_within_s: float = 3.0
    """... and, while a beam is still broken, until it is clear: how long a boat is in it says how fast it was. At most
    so long in all."""
    silent_after_s: float = 5.0
    """A source that says nothing, not even that it is quiet, for this long is given up."""
    is_live: bool = False
    """True where time does not wait: a tracker that cannot keep up leaves out pictures, and records that wait long for
    a slow source are written before their turn."""


class Line:
    """The straight line of one run, without threads and without a clock: feed it records in any order of arrival."""

    def __init__(
        self,
        plan: Plan,
        *,
        sources: Iterable[str],
        journal: Journal,
        tracker: LiveTracker | None = None,
        show: Callable[[Event], None] = lambda _: None,
        is_behind: Callable[[Frame], bool] = lambda _: False,
    ) -> None:
        self._settled = Settled(sources)
        self._referee = Referee(card=plan.card, rig=plan.rig, begin=plan.begin)
        self._journal, self._tracker, self._show, self._is_behind = journal, tracker, show, is_behind
        self._tail_ns = round(plan.tail_s * 1e9)
        self._longest_tail_ns = max(self._tail_ns, round(plan.clear_within_s * 1e9))
        self._broken_ns: dict[str, int] = {}
        self._cleared_ns = 0
        self._held: set[int] = set()
        self._written: set[int] = set()
        self._waited: dict[int, Record] = {}
        self.frames_untracked_count = 0
        self.is_over = False

    @property
    def history(self) -> tuple[Event, ...]:
        """What the referee has decided."""
        return self._referee.history

    def feed(self, record: Record) -> list[Record]:
        """A record has arrived. Returns the fed records that are done with."""
        return self.feed_all((record,))

    def feed_all(self, records: Iterable[Record]) -> list[Record]:
        """Some records have arrived; it is the same as if each had been fed, but costs less."""
        done: list[Record] = []
        for record in records:
            if self._settled.feed(record):
                self._held.add(id(record))
            else:
                done.append(record)
        return done + self._advance()

    def end(self, source: str) -> list[Record]:
        """A source has come to its end. Returns the fed records that are done with."""
        if source in self._settled.live:
            self._settled.end(source)
        return self._advance()

    def lose(self, source: str, silent_s: float) -> list[Record]:
        """A source has fallen silent. Returns the fed records that are done with."""
        if source in self._settled.live:
            what = f"nothing was heard from {source} for {silent_s:g} s"
            self._settled.lose(source, what=what, cure="check its cable and its power, then begin anew")
        return self._advance()

    def write_waiting(self) -> list[Record]:
        """Write every record that has waited for its turn since this was called last.

        Returns the pictures among them: they are done with, since all that still waits is their time. Or a camera would
        soon be at its limit and lose pictures because another source hangs.
        """
        lighter: dict[int, Record] = {}
        done: list[Record] = []
        for record in self._settled.waiting():
            name = id(record)
            if name not in self._waited or name in self._written:
                continue
            self._journal.keep(record)
            if isinstance(record, Frame):
                lighter[name] = replace(record, image=_NO_IMAGE, jpeg=None)
                self._held.discard(name)
                done.append(record)
            self._written.add(id(lighter.get(name, record)))
        self._settled.swap(lighter)
        self._waited = {id(record): record for record in self._settled.waiting()}
        return done

    def listen_to_recorder(self) -> None:
        """Show people what the recorder has had to say. StoreError if it cannot keep what it was handed."""
        for event in self._journal.news():
            self._show(event)

    def _advance(self) -> list[Record]:
        """Let everything leave that is settled, in order of time; then let the time pass that is settled."""
        done: list[Record] = []
        while not self.is_over and (record := self._settled.pop()) is not None:
            if id(record) in self._held:
                self._held.discard(id(record))
                done.append(record)
            self._decided(self._referee.past(record.t_ns - 1))
            if self._has_closed(record.t_ns - 1):
                self._close(record.t_ns)
            else:
                self._step(record)
        if not self.is_over:
            self._pass(self._settled.settled_ns)
        return done

    def _pass(self, settled_ns: int) -> None:
        self._decided(self._referee.past(settled_ns))
        if not self._settled.live:
            self._decided(self._referee.no_more(settled_ns))
        if not self._settled.live or self._has_closed(settled_ns):
            self._close(settled_ns)

    def _close(self, settled_ns: int) -> None:
        """The last line of the recording: so far it goes, even if nothing more happened."""
        self._journal.keep(Event(min(settled_ns, self._closes_ns() or 0), "closed", NAME))
        self.is_over = True

    def _step(self, record: Record) -> None:
        is_late = id(record) in self._written
        if is_late:
            self._written.discard(id(record))
        else:
            self._journal.keep(record)
        if isinstance(record, Frame) and self._tracker is not None and self._referee.ended_ns is None:
            self._track(record, self._tracker, is_late=is_late)
        if isinstance(record, Edge):
            self._beam(record)
        self._decided(self._referee.feed(record))

    def _beam(self, edge: Edge) -> None:
        if edge.blocked:
            self._broken_ns.setdefault(edge.gate, edge.t_ns)
        elif self._is_awaited(self._broken_ns.pop(edge.gate, edge.t_ns)):
            self._cleared_ns = edge.t_ns

    def _is_awaited(self, broken_ns: int) -> bool:
        """Whether a beam broken at that time still belongs to this run, and not to the next boat."""
        ended_ns = self._referee.ended_ns
        return ended_ns is not None and broken_ns < ended_ns + self._tail_ns

    def _track(self, frame: Frame, tracker: LiveTracker, *, is_late: bool) -> None:
        if is_late or self._is_behind(frame):
            self.frames_untracked_count += 1
        elif (fix := tracker.feed(frame)) is not None:
            self._settled.add(fix)

    def _decided(self, events: Iterable[Event]) -> None:
        for event in events:
            self._journal.keep(event)
            self._show(event)

    def _has_closed(self, settled_ns: int) -> bool:
        closes_ns = self._closes_ns()
        return closes_ns is not None and settled_ns >= closes_ns

    def _closes_ns(self) -> int | None:
        """When the recording is to end, as far as is known; None while the run goes on."""
        ended_ns = self._referee.ended_ns
        if ended_ns is None:
            return None
        if any(map(self._is_awaited, self._broken_ns.values())):
            return ended_ns + self._longest_tail_ns
        return min(max(ended_ns + self._tail_ns, self._cleared_ns), ended_ns + self._longest_tail_ns)
