"""One boat's repeats in a few figures: mean, median, spread, range, and how little so few repeats tell of the spread.

Boats against boats is another question and has its own module (study/compare.py).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import gammaln
from scipy.stats import t

FEWEST = 3
"""Of two runs nobody can say which one is the odd one."""
ODD_CHANCE = 0.1
"""So often a run among normal ones is found odd. It is looked at, never left out, so a needless look costs little."""
ODD_SHARE = 0.25
"""A run nearer to the others than this share of their median is not odd: boats scatter by 5 to 25 % from run to run."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Repeats of one quantity, all in its unit."""

    count: int
    mean: float
    """Arithmetic mean."""
    median: float
    """The middle one; the mean of the two in the middle if their number is even."""
    range: float
    """Greatest minus least."""
    sd: float | None
    """Experimental standard deviation, n - 1 in the denominator (GUM 4.2.2); None for a single run."""

    @property
    def u_mean(self) -> float | None:
        """Standard uncertainty of the mean from the spread alone, s/√n (GUM 4.2.3)."""
        return None if self.sd is None else self.sd / math.sqrt(self.count)

    @property
    def u_sd(self) -> float | None:
        """Standard deviation of the spread itself, for normally distributed repeats (GUM E.4.3, Table E.1)."""
        return None if self.sd is None else self.sd * relative_sd_of_sd(self.count)


def spread_of(values: Sequence[float]) -> Spread:
    """The figures of `values`, at least one.

    Raises:
        ValueError: no values.
    """
    if not values:
        raise ValueError("repeats: no run; at least one is wanted")
    sd = statistics.stdev(values) if len(values) > 1 else None
    span = max(values) - min(values)
    return Spread(len(values), statistics.fmean(values), statistics.median(values), span, sd)


def median_is_floor(values: Sequence[float], at_least: Sequence[bool]) -> bool:
    """Whether the median is only a lower bound, where the runs that `at_least` marks went that far or farther.

    A run beyond the middle may go as far as it likes without moving the median; one before it or in it may not.
    """
    order = sorted(zip(values, at_least, strict=True))
    return any(is_floor for _value, is_floor in order[: len(order) // 2 + 1])


def odd_run(values: Sequence[float], *, step: float = 0.0) -> int | None:
    """Which run lies far from all others, so that somebody should look at it; None if none does.

    Grubbs's test (Technometrics 11:1, 1969) of two sides at `ODD_CHANCE`, as a t test of the run against the others;
    and it must be off by more than `ODD_SHARE` of their median. `step`: what is counted comes in such steps.
    """
    if len(values) < FEWEST:
        return None
    middle = statistics.fmean(values)
    odd = max(range(len(values)), key=lambda i: abs(values[i] - middle))
    others = [value for i, value in enumerate(values) if i != odd]
    if abs(values[odd] - statistics.median(others)) <= ODD_SHARE * abs(statistics.median(others)):
        return None
    sd = max(statistics.stdev(others), step_sd(step)) * math.sqrt(1 + 1 / len(others))
    limit = float(t.isf(ODD_CHANCE / (2 * len(values)), len(values) - 2))
    return odd if abs(values[odd] - statistics.fmean(others)) > limit * sd else None


def step_sd(step: float) -> float:
    """Standard deviation of what is only known to the nearest `step`: ± half of it, rectangular (GUM F.2.2.1)."""
    return step / math.sqrt(12)


def relative_sd_of_sd(count: int) -> float:
    """How uncertain an experimental standard deviation of `count` normal readings is, as a share of it.

    √(1 − c₄²)/c₄ with c₄ = √(2/(n−1))·Γ(n/2)/Γ((n−1)/2); the figures of GUM Table E.1 (76 % for 2, 24 % for 10).

    Raises:
        ValueError: fewer than two readings.
    """
    if count < 2:
        raise ValueError(f"spread of {count} reading: it has none; at least 2 are wanted")
    c4 = math.sqrt(2 / (count - 1)) * math.exp(gammaln(count / 2) - gammaln((count - 1) / 2))
    return math.sqrt(1 - c4 * c4) / c4
