"""One boat's repeats in a few figures: mean, median, spread, range, and how little so few repeats tell of the spread.

Boats against boats is another question and has its own module (study/compare.py).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln


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
    array = np.asarray(values, np.float64)
    # about the mean in two passes: squares of values beside 10,000,000 would lose the spread
    middle = float(array.mean())
    sd = None
    if len(array) > 1:
        off = array - middle
        sd = math.sqrt(max(float(off @ off) - float(off.sum()) ** 2 / len(array), 0.0) / (len(array) - 1))
    return Spread(len(array), middle, float(np.median(array)), float(np.ptp(array)), sd)


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
