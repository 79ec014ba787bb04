"""Who is ahead, with ties where the runs do not tell; and how many repeats would tell.

A boat's place is one more than the number of boats that are clearly better. Boats of one place are a tie; what is too
close to call is never put in an order. If A is clearly better than B and B than C, A is clearly better than C: where
the pairs are all told rightly, and they are told so that this is likely, what follows from them is right as well.

Nobody comes first by running once or by scattering. A boat has no place

- if it has one run, or if no other boat has repeats,
- if a boat with a better mean has a worse place: then only its own doubt keeps it from being behind.

So all that share the first place have better means than all that are placed behind them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from scipy import stats

from logger.study.compare import PROBABILITY, Comparison, Repeats

POWER = 0.8
"""So likely a difference as large as the one seen would be found clear (common practice, no source)."""
MOST_REPEATS = 30
Unplaced: TypeAlias = Literal["", "one run", "alone", "cut short", "spread"]
"""Why a boat has no place: one run; no other has repeats; it is known only that it did so much at least; its runs
differ too much."""


@dataclass(frozen=True, slots=True)
class Place:
    """One boat's place."""

    boat: str
    place: int | None
    """From 1; None: its runs do not tell."""
    is_tie: bool
    """Whether another boat has the same place."""
    why: Unplaced = ""
    """Why it has none; empty if it has one."""


def places(boats: Sequence[Repeats], comparisons: Sequence[Comparison], *, more_is_better: bool) -> list[Place]:
    """The boats from the best on, those of one place in the order of their means; then those without one, as given."""
    sign = -1 if more_is_better else 1
    better = _better(boats, comparisons, more_is_better=more_is_better)
    why = {boat.boat: _alone(boat, boats) for boat in boats}
    by_mean = sorted((b for b in boats if not why[b.boat]), key=lambda boat: sign * boat.mean.value)
    worst = 0
    for boat in by_mean:
        count = len(better[boat.boat])
        if count < worst:
            why[boat.boat] = "cut short" if boat.floors_count else "spread"
        worst = max(worst, count)
    placed = sorted((b.boat for b in by_mean if not why[b.boat]), key=lambda boat: len(better[boat]))
    counts = [len(better[boat]) for boat in placed]
    return [
        *(Place(boat, 1 + count, counts.count(count) > 1) for boat, count in zip(placed, counts, strict=True)),
        *(Place(boat.boat, None, is_tie=False, why=why[boat.boat]) for boat in boats if why[boat.boat]),
    ]


def _alone(boat: Repeats, boats: Sequence[Repeats]) -> Unplaced:
    if boat.spread is None:
        return "one run"
    return "" if sum(one.spread is not None for one in boats) > 1 else "alone"


def _better(
    boats: Sequence[Repeats], comparisons: Sequence[Comparison], *, more_is_better: bool
) -> Mapping[str, set[str]]:
    """For each boat those that are clearly better, also by way of others between them."""
    better: dict[str, set[str]] = {boat.boat: set() for boat in boats}
    for pair in comparisons:
        if not pair.too_close:
            first_is_better = (pair.difference.value > 0) == more_is_better
            ahead, behind = (pair.first, pair.second) if first_is_better else (pair.second, pair.first)
            better[behind].add(ahead)
    for between in better:
        for found in better.values():
            if between in found:
                found |= better[between]
    return better


def repeats_needed(first: Repeats, second: Repeats, *, probability: float = PROBABILITY) -> int | None:
    """How many runs of each boat would probably show a difference as large as the one between their means.

    Welch's test with equal numbers of runs, the boats' spreads as they are now, power `POWER` by the noncentral t
    distribution (Cohen, Statistical Power Analysis for the Behavioral Sciences, 1988, chapter 2). None if a boat has no
    repeats yet, or more than `MOST_REPEATS` would be needed.
    """
    if not first.spread_to_reckon or not second.spread_to_reckon:
        return None
    gap = abs(first.mean.value - second.mean.value)
    one, other = first.spread_to_reckon**2, second.spread_to_reckon**2
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
