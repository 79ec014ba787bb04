"""What a device says while it is listened to for a moment, beside what it measures: trouble, doubt, silence."""

from __future__ import annotations

import time
from collections.abc import Callable, Container, Iterator

from logger.drivers.interface import Finding
from logger.records import ClockDoubt, Edge, Fault, Frame, Key, Quiet

OTHER_CLOCK_NS = 5_000_000_000
"""A stamp farther than this from now is of another clock."""
WELL_NS = 1_000_000
"""A source whose stamps are known this well is as good as a gate needs to be (a hundredth of a second, tenfold)."""


class Hearing:
    """Is shown every record of one device."""

    def __init__(self, part: str, *, is_live: bool, now_ns: Callable[[], int] = time.monotonic_ns) -> None:
        """Begin to listen to a device, which is called `part` in findings; `is_live`: its stamps are of this clock."""
        self._part, self._is_live, self._now_ns = part, is_live, now_ns
        self._faults: list[Fault] = []
        self._doubt: ClockDoubt | None = None
        self._off_ns = 0
        self._count = 0

    def hear(self, record: Edge | Frame | Key | Quiet | Fault | ClockDoubt) -> None:
        """It says something."""
        self._count += 1
        if isinstance(record, Fault):
            self._faults.append(record)
        elif isinstance(record, ClockDoubt):
            self._doubt = record
        off_ns = record.t_ns - self._now_ns()
        if self._is_live and abs(off_ns) > abs(self._off_ns):
            self._off_ns = off_ns

    def findings(self, *, but_parts: Container[str] = ()) -> Iterator[Finding]:
        """What is to be said of it, except of `but_parts`, of which more is known from elsewhere."""
        if not self._count:
            cure = "look at its cable and its power, then look again"
            yield Finding(self._part, "wrong", "it says nothing, not even that it lives", cure)
        if abs(self._off_ns) > OTHER_CLOCK_NS:
            found = f"its stamps are of another clock, {self._off_ns / 1e9:+.0f} s from this computer's"
            yield Finding(self._part, "wrong", found, "do not use it for times; report this driver")
        if self._doubt is not None and self._doubt.u_ns > WELL_NS:
            found = f"its stamps are known to ± {2 * self._doubt.u_ns / 1e6:.1f} ms (95 %) only ({self._doubt.words})"
            yield Finding(
                self._part, "doubtful", found, "times from it are as doubtful; a better link makes them surer"
            )
        for fault in self._faults:
            part, _, rest = fault.what.partition(": ")
            about = (part, rest) if part.startswith("gate ") and rest else (self._part, fault.what)
            if about[0] not in but_parts:
                yield Finding(about[0], "wrong" if fault.lasting else "doubtful", about[1], fault.cure)
