"""Boats against boats: the mean of repeats, their spread, and whether a difference is real.

Two doubts, never mixed: the *spread* of a boat's repeats (what the boat and its wind do) and the *rig uncertainty*
(what the instrument may be off by). Runs on one rig share its gate distance and its scale, so in a difference those
cancel by themselves; the part that is new in every run shows up in the spread and is not counted again.

A run that a wall cut short went at least so far. A mean with such a run in it is a floor, never a value: it may show
that the boat went farther than another, but never that it went less far.

Two means differ when their distance is more than its expanded uncertainty, at 95 % for all pairs of the class together:
Dunnett's T3 (J. Am. Stat. Assoc. 75:796, 1980), that is the studentized maximum modulus with the degrees of freedom of
Welch and Satterthwaite (GUM G.4.1) for each pair, since no two boats spread alike. For two boats it is Welch's test.
With as few repeats as a class has, the procedure of Games & Howell called one of ten equal boats faster in 6 to 8 of
100 simulated classes, this one in 4 to 6 (tests/bench/ranking.py).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr
from scipy.stats import chi2, norm, t

from calibration.quantity import Quantity, Source

PROBABILITY = 0.95
_SLICES_COUNT = 4000
"""Slices of equal probability for the integral over the estimate."""
_LARGEST = 1e5


@dataclass(frozen=True, slots=True)
class Repeats:
    """One boat's runs of one quantity."""

    boat: str
    mean: Quantity
    """Mean of the runs with the rig's doubt only."""
    spread: float | None
    """Standard deviation from run to run, in the quantity's unit; None for a single run."""
    count: int
    floors_count: int = 0
    """How many of the runs were cut short, so that the truth is that much or more; the mean is then a floor as well."""

    @property
    def mean_with_spread(self) -> Quantity:
        """The mean with the doubt that so few repeats leave (GUM 4.2.3) beside the rig's."""
        if self.spread is None:
            return self.mean
        source = Source(f"spread of the repeats of {self.boat}", dof=self.count - 1)
        return self.mean.plus_doubt(source, self.spread / math.sqrt(self.count))


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two boats, and what can be said of them."""

    first: str
    second: str
    difference: Quantity
    """First minus second."""
    U: float
    """Expanded uncertainty of the difference, in its unit; infinite where there are no repeats, or where the boat that
    seems to have less was cut short."""

    @property
    def too_close(self) -> bool:
        """True where the difference may be chance."""
        return not abs(self.difference.value) > self.U


def repeats_of(boat: str, runs: Sequence[Quantity], *, floors_count: int = 0) -> Repeats:
    """Mean and spread of `runs` (at least one) of the same quantity, `floors_count` of them cut short."""
    count = len(runs)
    values = [run.value for run in runs]
    mean = Quantity.linear(statistics.fmean(values), runs[0].unit, [(1 / count, run) for run in runs])
    return Repeats(boat, mean, statistics.stdev(values) if count > 1 else None, count, floors_count)


def compare_all(boats: Sequence[Repeats], probability: float = PROBABILITY) -> list[Comparison]:
    """Every pair; `probability` that no pair is wrongly called different."""
    return [_compare(a, b, len(boats), probability) for a, b in combinations(boats, 2)]


def modulus_factor(pairs_count: int, dof: float, probability: float = PROBABILITY) -> float:
    """How many standard uncertainties apart two means must be, where so many pairs are looked at; Student's t for one.

    The point that the largest of so many independent standard normals, all divided by one estimate of their standard
    deviation, stays below with this probability. `dof` is cut to a whole number first (GUM G.4.1 note 1).
    """
    whole = max(1.0, math.floor(dof + 1e-9)) if math.isfinite(dof) else math.inf
    return _modulus_factor(pairs_count, whole, probability)


@cache  # its integral takes some milliseconds
def _modulus_factor(pairs_count: int, whole_dof: float, probability: float) -> float:
    if pairs_count == 1:
        return float(t.ppf((1 + probability) / 2, whole_dof))
    if math.isinf(whole_dof):
        return float(norm.ppf((1 + probability ** (1 / pairs_count)) / 2))
    shares = (np.arange(_SLICES_COUNT) + 0.5) / _SLICES_COUNT
    scale = np.sqrt(chi2.ppf(shares, whole_dof) / whole_dof)

    def exceeded(factor: float) -> float:
        return float(np.mean((2 * ndtr(factor * scale) - 1) ** pairs_count)) - probability

    return float(brentq(exceeded, 0.5, _LARGEST, xtol=1e-6))


def _compare(a: Repeats, b: Repeats, boats_count: int, probability: float) -> Comparison:
    difference = a.mean_with_spread - b.mean_with_spread
    # without repeats nobody knows how much a boat differs from itself
    if a.spread is None or b.spread is None or _cut_short(a, b):
        return Comparison(a.boat, b.boat, difference, math.inf)
    wide = _as_wide(a, b).mean_with_spread - _as_wide(b, a).mean_with_spread
    pairs_count = math.comb(boats_count, 2)
    expanded = max(modulus_factor(pairs_count, one.dof, probability) * one.u for one in (difference, wide))
    return Comparison(a.boat, b.boat, difference, expanded)


def _cut_short(a: Repeats, b: Repeats) -> bool:
    """Whether the one that seems to have less may truly have more."""
    less = a if a.mean.value < b.mean.value else b
    return less.floors_count > 0


def _as_wide(one: Repeats, other: Repeats) -> Repeats:
    """Runs that a wall cut short lie close together; such a boat is taken to spread no less than the other."""
    if not one.floors_count or one.spread is None or other.spread is None:
        return one
    return replace(one, spread=max(one.spread, other.spread))


def grouped(runs: Sequence[tuple[str, Quantity]]) -> Mapping[str, list[Quantity]]:
    """Runs by boat, boats in the order in which they first came."""
    groups: dict[str, list[Quantity]] = {}
    for boat, quantity in runs:
        groups.setdefault(boat, []).append(quantity)
    return groups
