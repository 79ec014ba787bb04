"""Who is ahead, with ties where the runs do not tell; and how many repeats would tell.

A boat's place is one more than the number of boats that are clearly better. Boats of one place are a tie; what is too
close to call is never put in an order.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from logger.study.compare import PROBABILITY, Comparison, Repeats

POWER = 0.8
"""So likely a difference as large as the one seen would be found clear (common practice, no source)."""
MOST_REPEATS = 30


@dataclass(frozen=True, slots=True)
class Place:
    """One boat's place."""

    boat: str
    place: int
    is_tie: bool
    """Whether another boat has the same place."""


def places(boats: Sequence[Repeats], comparisons: Sequence[Comparison], *, more_is_better: bool) -> list[Place]:
    """The boats from the best on; those of one place in the order of their means."""
    better_count = dict.fromkeys((boat.boat for boat in boats), 0)
    for pair in comparisons:
        if not pair.too_close:
            first_is_better = (pair.difference.value > 0) == more_is_better
            better_count[pair.second if first_is_better else pair.first] += 1
    counts = list(better_count.values())
    sign = -1 if more_is_better else 1
    ordered = sorted(boats, key=lambda boat: (better_count[boat.boat], sign * boat.mean.value))
    return [
        Place(boat.boat, 1 + better_count[boat.boat], counts.count(better_count[boat.boat]) > 1) for boat in ordered
    ]


def repeats_needed(first: Repeats, second: Repeats, *, probability: float = PROBABILITY) -> int | None:
    """How many runs of each boat would probably show a difference as large as the one between their means.

    Welch's test with equal numbers of runs, the boats' spreads as they are now, power `POWER` by the noncentral t
    distribution (Cohen, Statistical Power Analysis for the Behavioral Sciences, 1988, chapter 2). None if a boat has no
    repeats yet, or more than `MOST_REPEATS` would be needed.
    """
    if not first.spread or not second.spread:
        return None
    gap = abs(first.mean.value - second.mean.value)
    one, other = first.spread**2, second.spread**2
    for count in range(2, MOST_REPEATS + 1):
        dof = (count - 1) * (one + other) ** 2 / (one**2 + other**2)
        if power(gap / math.sqrt((one + other) / count), dof, probability) >= POWER:
            return max(count, first.count, second.count)
    return None


def power(shift: float, dof: float, probability: float) -> float:
    """How likely a t test of two sides finds a difference that is `shift` of its standard uncertainties."""
    limit = float(stats.t.ppf((1 + probability) / 2, dof))
    found = stats.nct.sf(limit, dof, shift) + stats.nct.cdf(-limit, dof, shift)
    return float(np.nan_to_num(found, nan=1.0))
