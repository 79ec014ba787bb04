"""A trial at the gates, live: tells people when to do what, listens meanwhile, and gives what came of it.

All times are the gates' own stamps: the calls, the passes and the end. A source that falls silent or complains makes
the trial fail, for nobody concludes "no break" from silence.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from logger.checkup.gate_trials import CALL_EVERY_NS, CALLS_COUNT, CALM_NS, STRAW_MM, Judged, Trial
from logger.checkup.hearing import Hearing
from logger.checkup.visit import Until, listen, visit
from logger.config import GATES_SOURCE, DriverChoice, Rig
from logger.drivers.interface import Attended, Finding
from logger.records import ClockDoubt, Edge, Quiet

READY_NS = 3_000_000_000
"""From the words to the first call."""
TAIL_NS = 500_000_000
SPARE_S = 15.0
PATIENT_RATIO = 3.0
"""A live device's stamps go on as this computer's clock does; much later is as good as silence."""

Say = Callable[[str], None]
Opener = Callable[..., Any]


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What people are asked to do."""

    gate: str
    """Empty: ripples."""
    every_ns: int
    times_count: int

    @property
    def length_ns(self) -> int:
        return self.every_ns * self.times_count


def straws(rig: Rig, gate: str, *, opener: Opener, place: str, say: Say) -> Judged:
    """Ten straws through `gate`, one on each call."""
    say(
        f"Gate {gate}: pass a straw of {STRAW_MM:g} mm through the beam once after each call, as deep as a boat's "
        f"straw stands; {CALLS_COUNT} calls, one every {CALL_EVERY_NS / 1e9:g} s. Nothing else in the beams."
    )
    return _trial(rig, _Wanted(gate, CALL_EVERY_NS, CALLS_COUNT), opener=opener, place=place, say=say)


def ripples(rig: Rig, *, opener: Opener, place: str, say: Say) -> Judged:
    """A minute of ripples."""
    say(
        f"Rock the water with a flat hand at the end of the tank for {CALM_NS / 1e9:g} s, as much as a class will; "
        "hands and straws out of the beams."
    )
    return _trial(rig, _Wanted("", CALM_NS, 1), opener=opener, place=place, say=say)


def _trial(rig: Rig, wanted: _Wanted, *, opener: Opener, place: str, say: Say) -> Judged:
    choice = rig.gates_driver
    if choice is None:
        return Judged(False, ("nothing reads the gates",), "write a table [gates_driver] with its kind")
    driver = opener(choice.kind, choice.options, name=GATES_SOURCE, place=place)
    session = _Session([gate.name for gate in rig.gates], wanted, choice, say)
    within_s = (READY_NS + wanted.length_ns + TAIL_NS) / 1e9 * (1.0 if choice.is_live else PATIENT_RATIO) + SPARE_S
    seen = visit(driver, session.look, part="gates", within_s=within_s)
    if isinstance(seen, Finding):
        return Judged(False, (f"{seen.part}: {seen.found}",), seen.cure)
    return seen


class _Session:
    """One trial while it goes on."""

    def __init__(self, gates: list[str], wanted: _Wanted, choice: DriverChoice, say: Say) -> None:
        self._wanted, self._say = wanted, say
        self._trial, self._hearing = Trial(gates), Hearing("gates", is_live=choice.is_live)
        self._driver: Any = None
        self._begin_ns: int | None = None
        self._now_ns, self._called = 0, 0
        self._within_s = (READY_NS + wanted.length_ns + TAIL_NS) / 1e9 * PATIENT_RATIO + SPARE_S

    def look(self, driver: Any, broken_off: threading.Event) -> Judged:
        self._driver = driver
        listen(driver, Until(broken_off, self._within_s), hear=self._hear, until=self._is_over)
        troubles = list(self._hearing.findings())
        if self._begin_ns is None or not self._is_over():
            said = [f"{finding.part}: {finding.found}" for finding in troubles]
            return Judged(False, ("the gates fell silent before the end", *said), "look at their plugs; then once more")
        judged = self._judged(self._begin_ns)
        if troubles:
            said = [f"{finding.part}: {finding.found}" for finding in troubles]
            return replace(judged, passed=False, found=(*judged.found, *said), cure=judged.cure or troubles[0].cure)
        return judged

    def _judged(self, begin_ns: int) -> Judged:
        wanted = self._wanted
        if wanted.gate:
            return self._trial.straws(
                wanted.gate, from_ns=begin_ns, every_ns=wanted.every_ns, times_count=wanted.times_count
            )
        return self._trial.calm(from_ns=begin_ns, to_ns=begin_ns + wanted.length_ns)

    def _hear(self, record: Any) -> None:
        if not isinstance(record, ClockDoubt):  # how well a stamp is known does not matter to a count
            self._hearing.hear(record)
        if isinstance(record, Edge):
            self._trial.edge(record)
        if not isinstance(record, Edge | Quiet):
            return
        self._now_ns = record.t_ns
        if self._begin_ns is None:
            self._begin_ns = record.t_ns + READY_NS
            if isinstance(self._driver, Attended):
                self._driver.ask(
                    gate=self._wanted.gate, from_ns=self._begin_ns, every_ns=self._wanted.every_ns,
                    times_count=self._wanted.times_count,
                )  # fmt: skip
        self._call(self._begin_ns)

    def _call(self, begin_ns: int) -> None:
        """Say the calls whose time has come."""
        wanted = self._wanted
        while self._called < wanted.times_count and self._now_ns >= begin_ns + self._called * wanted.every_ns:
            self._called += 1
            self._say(f"  now: pass {self._called} of {wanted.times_count}" if wanted.gate else "  now: ripples")

    def _is_over(self) -> bool:
        return self._begin_ns is not None and self._now_ns >= self._begin_ns + self._wanted.length_ns + TAIL_NS
