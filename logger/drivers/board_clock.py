"""Where a board's counter stands on the host's one clock, and how well that is known.

What may live here: numbers. No port, no clock, no thread: times are handed in.

The host asks (sent_ns), the board reads its counter, the host hears (received_ns). The counter was read between the
two, whatever the way there and back took: ± half the round trip is a bound, its middle a good guess. Of the last
`WINDOW_NS` the best of each few in a row is taken, up to `PARTS_COUNT` of them, and a straight line is fitted to the
middles by least squares, each weighted with the inverse square of its round trip. So the line covers the whole window
also when the computer was busy for half of it. A few slow answers say nothing of the rate: it counts as known within
`RATE_RATIO` beforehand, like one more answer, which weighs nothing beside good ones.

What is stated as u, each part independent of the others (JCGM 100:2008, 4.3.7, 5.1.2):

- half the round trip, weighted as the fit is, as the half-width of a rectangle: a way back that is always slower than
  the way there shifts all middles alike, and no fit can see it;
- the scatter of the middles about the line, whole and not divided by √n: delays come in streaks; while they are few,
  it is made larger by √(ν/(ν − 2)), ν being its degrees of freedom (JCGM 101:2008, 6.4.9.4);
- the fit's own doubt at the end of the window, where it is used, from the round trips and not from the scatter, which
  says little while the answers are few;
- the board's own lateness, from 0 to `late_ns`, as a rectangle about its middle, which is taken off;
- one tick of the counter, as a rectangle.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

WINDOW_NS = 40_000_000_000
"""Long enough for the rate, short enough for a crystal that warms up."""
PARTS_COUNT = 40
GROUP_COUNT = 3
"""Of so many answers in a row at least, the best is taken."""
READY_COUNT = 24
"""With fewer answers there is no line."""
MOST_ANSWERS_COUNT = 800
"""More are not kept; 40 s of asking every 60 ms."""
RATE_RATIO = 5e-3
"""Standard uncertainty of a rate that is not measured yet: what makers say of ceramic resonators (no one source)."""
STRANGE_COUNT = 5
"""So many answers in a row that contradict the line mean that the counter has jumped."""
STRANGE_NS = 2_000_000
"""An answer contradicts the line if it lies further off than this and five times u."""


class Unwrapped:
    """A counter that goes round, as one that does not: right while it is asked at least once in half a round."""

    def __init__(self, bits_count: int) -> None:
        self._round = 1 << bits_count
        self._last: int | None = None

    def whole(self, counter: int) -> int:
        """The counter with its rounds; ValueError if it is not below its round."""
        if not 0 <= counter < self._round:
            raise ValueError(f"a counter of {counter} is not below its round of {self._round}")
        if self._last is None:
            self._last = counter
            return counter
        step = (counter - self._last) % self._round
        whole = self._last + (step if step < self._round // 2 else step - self._round)
        self._last = max(self._last, whole)
        return whole


@dataclass(frozen=True, slots=True)
class Exchange:
    """One question and its answer."""

    sent_ns: int
    """Before the question left; what the wire surely took may be added."""
    counter: int
    """The board's counter in between, in ticks, with its rounds."""
    received_ns: int
    """After the answer was there; what the wire surely took may be taken off."""

    @property
    def round_trip_ns(self) -> int:
        """How long it took."""
        return self.received_ns - self.sent_ns


@dataclass(frozen=True, slots=True)
class Fit:
    """A straight line from the board's counter to the host's clock."""

    counter: int
    """In ticks; the line is anchored here, at the last answer."""
    at_ns: int
    ns_per_tick: float
    """How long one tick lasts by the host's clock, in ns."""
    u_ns: int
    """Standard uncertainty of a stamp taken from the line near its end."""
    residual_ns: int
    """Standard deviation of the answers about the line."""
    half_round_trip_ns: int
    """Half the round trip, weighted as in the fit."""
    least_round_trip_ns: int
    answers_count: int
    """That the line was fitted to."""
    u_line_ns: int
    """The part of u_ns that more answers would make smaller: where the line lies at its end, mainly for its rate."""

    def stamp_ns(self, counter: int) -> int:
        """The host's time at this value of the counter."""
        return self.at_ns + round((counter - self.counter) * self.ns_per_tick)


class BoardClock:
    """Collects answers and fits the line."""

    def __init__(self, *, tick_ns: int, late_ns: int = 0) -> None:
        self._tick_ns, self._late_ns = tick_ns, late_ns
        self._answers: deque[Exchange] = deque(maxlen=MOST_ANSWERS_COUNT)
        self._strange_count = 0
        self.fit: Fit | None = None

    @property
    def has_jumped(self) -> bool:
        """The counter does not do what it did before: nothing that it says can be placed any more."""
        return self._strange_count >= STRANGE_COUNT

    @property
    def is_good(self) -> bool:
        """There is a line, and what limits it is the way there and back, not that the answers are few."""
        return self.fit is not None and self.fit.u_line_ns <= self.fit.half_round_trip_ns

    @property
    def rate_ppm(self) -> float:
        """By how much the board's clock runs fast; 0 while there is no line."""
        return 0.0 if self.fit is None else (self._tick_ns / self.fit.ns_per_tick - 1) * 1e6

    def add(self, exchange: Exchange) -> None:
        """One more answer; exchanges come in their order."""
        if exchange.round_trip_ns <= 0:
            return
        if self._contradicts(exchange):
            self._strange_count += 1
            return
        self._strange_count = 0
        self._answers.append(exchange)
        while self._answers[0].received_ns < exchange.received_ns - WINDOW_NS:
            self._answers.popleft()
        if len(self._answers) >= READY_COUNT:
            self.fit = self._fitted()

    def _contradicts(self, exchange: Exchange) -> bool:
        if self.fit is None:
            return False
        allowed_ns = STRANGE_NS + 5 * self.fit.u_ns
        raw_ns = self.fit.stamp_ns(exchange.counter) + self._late_ns // 2
        return not exchange.sent_ns - allowed_ns <= raw_ns <= exchange.received_ns + allowed_ns

    def _best(self) -> list[Exchange]:
        answers = list(self._answers)
        size = max(GROUP_COUNT, -(-len(answers) // PARTS_COUNT))
        groups = (answers[start : start + size] for start in range(0, len(answers), size))
        return [min(group, key=lambda answer: answer.round_trip_ns) for group in groups]

    def _fitted(self) -> Fit | None:
        best, last = self._best(), self._answers[-1]
        x = np.array([a.counter - last.counter for a in best], float) * self._tick_ns
        half = np.array([a.round_trip_ns for a in best], float) / 2
        y = np.array([a.sent_ns - last.sent_ns for a in best], float) + half - x  # what the nominal tick leaves over
        known = 3 / half**2  # one over the variance of each middle, half the round trip being a rectangle's half-width
        w = known / np.sum(known)
        mean_x, mean_y = float(w @ x), float(w @ y)
        rate_known = float(known @ (x - mean_x) ** 2) + RATE_RATIO**-2
        slope = float(known @ ((x - mean_x) * y)) / rate_known
        end = mean_y - slope * mean_x
        freedom = len(best) - 2
        scatter2 = float(w @ (y - end - slope * x) ** 2) * len(best) / freedom * freedom / (freedom - 2)
        own2 = 1 / float(np.sum(known)) + mean_x**2 / rate_known
        width = float(w @ half)
        board2 = (self._late_ns / 2) ** 2 / 3 + self._tick_ns**2 / 12
        return Fit(
            counter=last.counter,
            at_ns=last.sent_ns + round(end) - self._late_ns // 2,
            ns_per_tick=self._tick_ns * (1 + slope),
            u_ns=math.ceil(math.sqrt(width**2 / 3 + scatter2 + own2 + board2)),
            residual_ns=round(math.sqrt(scatter2)),
            half_round_trip_ns=round(width),
            least_round_trip_ns=min(a.round_trip_ns for a in best),
            answers_count=len(best),
            u_line_ns=math.ceil(math.sqrt(own2)),
        )
