"""From a camera's pictures, as they come, to records that keep the promises of the border (interface.py).

Pure but for what it remembers; the same for every camera. Pictures arrive some time after their stamps, so a camera
may only call itself quiet up to a while ago: its *lag*. A picture that comes later than that is told, not passed on.
Trouble that comes again and again is told once a second, with its count.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from logger.drivers.frame_stamps import S_NS, Gaps
from logger.records import ClockDoubt, Fault, Frame, Quiet

QUIET_EVERY_NS = 100_000_000
SPEAK_EVERY_NS = 50_000_000
"""While nothing comes: twice as often as promised, for the clock that counts is the hearer's."""
LAG_PERIODS, LEAST_LAG_NS = 4, 150_000_000
"""A picture is passed on within a period or two, and must not break a promise when the machine is busy."""
SPARE_PERIODS, OLDEST_NS = 2, 2 * S_NS
"""Where a camera is slower than that, by what it was seen to take; but nothing waits longer than two seconds for it."""
TELL_EVERY_NS = S_NS
ARRIVAL_WORDS = "pictures are stamped when they arrive, up to two periods after they begin"


@dataclass(frozen=True, slots=True)
class Trouble:
    """A kind of trouble with single pictures."""

    what: str
    """In words that take a count behind them."""
    cure: str


TORN = Trouble("pictures that came torn and were left out", "use a shorter cable and a port without a hub")
MIXED = Trouble("pictures that the next ones overwrote while they were read", "let this computer do less meanwhile")
AHEAD = Trouble("pictures stamped in the future and left out", 'try another camera, or stamps = "arrival"')
TOO_SLOW = Trouble(
    "pictures that were lost because this computer was busy",
    "let it do less at the same time, or ask for smaller pictures or fewer a second",
)
LATE = Trouble("pictures that came too late to be put in order", "let this computer do less at the same time")
BACKWARDS = Trouble(
    "pictures with a stamp that is not after the last one", "try another camera; the clock of this one cannot be used"
)


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """A whole picture as it came."""

    t_ns: int
    """As it will stand in the recording."""
    counted_ns: int
    """A stamp by which missing pictures are counted, of whatever clock."""
    image: Any
    """(height, width, 3) BGR uint8, or a function that decodes it, see `Frame.image`."""
    jpeg: bytes | None
    exposure_ns: int
    line_ns: int
    is_behind: bool = False
    """It had waited for us."""
    number: int | None = None
    """The driver's running number, where it has one."""


class Flow:
    """Gives a camera's records their order. Every method yields what there is to say now."""

    def __init__(self, name: str, *, begun_ns: int, gaps: Gaps) -> None:
        """Nothing stamped up to `begun_ns` will come."""
        self._name, self._gaps = name, gaps
        self._said_ns = begun_ns
        self._last_ns = -1
        self._oldest_ns = 0
        self._sequence = -1
        self._tallies: dict[Trouble, list[int]] = {}
        self._told_ns: dict[Trouble, int] = {}
        self._is_slow = False

    @property
    def lag_ns(self) -> int:
        """How long after its stamp a picture may come."""
        period_ns = self._gaps.period_ns
        return max(LEAST_LAG_NS, LAG_PERIODS * period_ns, self._oldest_ns + SPARE_PERIODS * period_ns)

    def begin(self) -> Iterator[Quiet]:
        """The first word."""
        yield Quiet(self._said_ns, self._name)

    def picture(self, taken: Taken, *, now_ns: int) -> Iterator[Frame | Quiet | Fault]:
        """A picture has come."""
        if not taken.is_behind:  # a camera that takes its time is only late once
            self._oldest_ns = max(self._oldest_ns, min(now_ns - taken.t_ns, OLDEST_NS))
        if taken.t_ns <= self._said_ns:
            self.note(BACKWARDS if taken.t_ns <= self._last_ns else LATE, t_ns=taken.t_ns)
        else:
            missing_count = self._gaps.missing_count(taken.counted_ns, number=taken.number, is_behind=taken.is_behind)
            if missing_count and taken.is_behind:
                self.note(TOO_SLOW, t_ns=self._last_ns, count=missing_count)
            self._sequence += 1 + missing_count
            yield from self._silence(taken.t_ns)
            self._said_ns = self._last_ns = taken.t_ns
            yield Frame(
                taken.t_ns, taken.image, self._sequence, self._name, taken.exposure_ns, taken.line_ns, taken.jpeg
            )
        yield from self._rate()
        yield from self.tell(now_ns)

    def waited(self, *, since_ns: int) -> Iterator[Quiet | Fault]:
        """Since that time nothing has been ready."""
        until_ns = since_ns - self.lag_ns
        if until_ns - self._said_ns >= SPEAK_EVERY_NS:
            yield from self._silence(until_ns)
            self._said_ns = until_ns
            yield Quiet(until_ns, self._name)
        yield from self.tell(since_ns)

    def note(self, trouble: Trouble, *, t_ns: int, count: int = 1) -> None:
        """Pictures stamped or come at `t_ns` could not be used; it is told in its turn."""
        tally = self._tallies.setdefault(trouble, [0, t_ns])
        tally[0] += count
        tally[1] = min(tally[1], t_ns)

    def fault(self, what: str, cure: str, *, since_ns: int | None = None, lasting: bool = False) -> Iterator[Fault]:
        """Something is wrong. It is stamped right behind the last word, for older pictures may be waiting."""
        self._said_ns += 1
        yield Fault(self._said_ns, self._name, what, cure, since_ns=since_ns, lasting=lasting)

    def arrival_counts(self, why: str = "") -> Iterator[Fault | ClockDoubt]:
        """From now on pictures are stamped when they arrive; a Fault if that was not asked for, and how wide it is."""
        if why:
            yield from self.fault(f"{why}; {ARRIVAL_WORDS}", "let the gates time what matters, or use another camera")
        # rectangular over two periods, JCGM 100:2008, 4.3.7
        yield from self.clock_doubt(round(2 * self._gaps.nominal_ns / math.sqrt(12)), ARRIVAL_WORDS)

    def clock_doubt(self, u_ns: int, words: str) -> Iterator[ClockDoubt]:
        """From now on stamps are only known so well."""
        self._said_ns += 1
        yield ClockDoubt(self._said_ns, self._name, u_ns, words)

    def _silence(self, until_ns: int) -> Iterator[Quiet]:
        while self._said_ns + QUIET_EVERY_NS < until_ns:
            self._said_ns += QUIET_EVERY_NS
            yield Quiet(self._said_ns, self._name)

    def _rate(self) -> Iterator[Fault]:
        was_slow, self._is_slow = self._is_slow, self._gaps.is_slow
        if self._is_slow and not was_slow:
            found, asked = S_NS / self._gaps.period_ns, S_NS / self._gaps.nominal_ns
            what = f"pictures come at {found:.1f} instead of {asked:.1f} a second"
            yield from self.fault(what, "fix the exposure and give more light, or ask for fewer")

    def tell(self, now_ns: int) -> Iterator[Fault]:
        """What was noted, if it is time to tell it."""
        for trouble, (count, since_ns) in list(self._tallies.items()):
            told_ns = self._told_ns.get(trouble)
            if told_ns is None or now_ns - told_ns >= TELL_EVERY_NS:
                self._told_ns[trouble] = now_ns
                del self._tallies[trouble]
                yield from self.fault(f"{trouble.what}: {count}", trouble.cure, since_ns=since_ns)
