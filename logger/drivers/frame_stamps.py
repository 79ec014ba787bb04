"""What can be told from nothing but the stamps of pictures: whose clock they are of, and which pictures are missing.

Pure, and the same for every camera.
"""

from __future__ import annotations

from collections import deque
from statistics import median
from typing import Literal, TypeAlias

S_NS = 1_000_000_000
GAP_PERIODS = 1.5
"""More than so many periods between two pictures, and one is missing between them."""
STALE_MOST_COUNT = 10
"""No more pictures than this wait in a camera's queue (the most that OpenCV's reader of V4L2 allows)."""
SLOW_RATIO = 1.2
MOST_ON_COUNT = 1_000_000
"""Numbers that stand still, go back or leap further than this count nothing."""
_RECENT_COUNT = 15


def ns_of_ms(time_ms: float) -> int:
    """A kernel stamp, which is of whole microseconds, from the float milliseconds that OpenCV makes of it; exact.

    A float64 holds a microsecond to better than a half for 142 years of milliseconds.
    """
    return round(time_ms * 1000) * 1000


Judged: TypeAlias = Literal["ours", "stale", "foreign"]
"""Fresh, and of the one clock · of a picture older than the beginning · of another clock."""


class StampClock:
    """Finds out from the first pictures whether their stamps are of the one clock.

    A driver that stamps by another clock (since 1970, since the last sleep, its own) does not say so. The first
    pictures may be old ones that had waited in the queue; but not many, and not for long.
    """

    def __init__(self, begun_ns: int) -> None:
        """Start at `begun_ns` of the one clock: a picture stamped later is fresh."""
        self._begun_ns = begun_ns
        self._stale_count = 0

    def judge(self, stamp_ns: int, *, arrived_ns: int) -> Judged:
        """What the picture of this stamp, taken out of the queue at `arrived_ns`, says of the clock."""
        if stamp_ns > arrived_ns:
            return "foreign"
        if stamp_ns > self._begun_ns:
            return "ours"
        self._stale_count += 1
        is_long = arrived_ns - self._begun_ns > S_NS
        return "foreign" if is_long and self._stale_count > STALE_MOST_COUNT else "stale"


class Gaps:
    """Counts pictures that are missing between two others: by their running numbers if they have any, else by stamps.

    A stamp that comes late by half a period looks like a missing picture; numbers know better. For stamps the period is
    the camera's nominal one, or the median of the last steps where that is much longer: a camera that slows down in bad
    light is slow, and does not lose every second picture.
    """

    def __init__(self, nominal_ns: int) -> None:
        """Start without any picture; `nominal_ns` is the period that the camera promised."""
        self.nominal_ns = nominal_ns
        self._last_ns: int | None = None
        self._number: int | None = None
        self._steps_ns: deque[int] = deque(maxlen=_RECENT_COUNT)

    @property
    def period_ns(self) -> int:
        """From one picture to the next, as it seems now."""
        if len(self._steps_ns) < _RECENT_COUNT:
            return self.nominal_ns
        recent_ns = round(median(self._steps_ns))
        return recent_ns if recent_ns > SLOW_RATIO * self.nominal_ns else self.nominal_ns

    @property
    def is_slow(self) -> bool:
        """Pictures come more than a fifth slower than was promised."""
        return self.period_ns > self.nominal_ns

    def begin_numbers(self) -> None:
        """The running numbers start anew."""
        self._number = None

    def missing_count(self, stamp_ns: int, *, number: int | None = None, is_behind: bool = False) -> int:
        """How many pictures are missing between the last one and this one; 0 if time went back.

        Args:
            stamp_ns: of the next picture.
            number: its running number, which may begin again after 2³².
            is_behind: it had waited for us, so it is our doing that some are missing, and says nothing of the camera.
        """
        last_ns, self._last_ns = self._last_ns, stamp_ns
        last_number, self._number = self._number, number
        if last_ns is None or stamp_ns <= last_ns:
            return 0
        step_ns = stamp_ns - last_ns
        if not is_behind:
            self._steps_ns.append(step_ns)
        on = 0 if last_number is None or number is None else (number - last_number) % 2**32
        if 0 < on < MOST_ON_COUNT:
            return on - 1
        period_ns = self.period_ns
        return max(1, round(step_ns / period_ns) - 1) if step_ns > GAP_PERIODS * period_ns else 0
