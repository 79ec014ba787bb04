"""Boats against boats: the mean of repeats, their spread, and whether a difference is real.

Two doubts, never mixed: the *spread* of a boat's repeats (what the boat and its wind do) and the *rig uncertainty*
(what the instrument may be off by). Runs on one rig share its gate distance and its scale, so in a difference those
cancel by themselves; the part that is new in every run shows up in the spread and is not counted again.

A run that a wall cut short went at least so far. A mean with such a run in it is a floor, never a value: it may show
that the boat went farther than another, but never that it went less far.

What is counted comes in whole steps. Counts that happen to be alike are taken to spread by no less than the nearest
step does (GUM F.2.2.1): two counts of 7 and two of 8 do not tell two boats apart.

Two means differ when their distance is more than its expanded uncertainty, at 95 % for all pairs of the class together:
Dunnett's T3 (J. Am. Stat. Assoc. 75:796, 1980), that is the studentized maximum modulus with the degrees of freedom of
Welch and Satterthwaite (GUM G.4.1) for each pair, since no two boats spread alike. For two boats it is Welch's test.
T3 takes all pairs to share one estimate of spread, which pairs of different boats do not: with 3 repeats it called one
of ten equal boats faster in 5.5 of 100 simulated classes, of fifteen in 8, of twenty in 10. So more than five boats are
reckoned as so many sets of five, each with its own share of the 5 % (Šidák): 3 to 5 of 100 for 6 to 20 boats that
spread by 2 to 40 % (tests/bench/ranking.py; the five was found there). Games & Howell's procedure gives 6 to 8 for ten.

A boat of which there is one run cannot be told from any, so it does not make the others harder to tell apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from typing import TypeVar

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr
from scipy.stats import chi2, norm, t

from calibration.quantity import Quantity, Source
from logger.results.columns import COLUMNS
from logger.results.repeats import spread_of, step_sd
from logger.results.trial import Result

PROBABILITY = 0.95
_BOATS_A_SET = 5
"""So many boats' pairs are taken to share one estimate of spread (tests/bench/ranking.py)."""
_SLICES_COUNT = 4000
"""Slices of equal probability for the integral over the estimate."""
_LARGEST = 1e5
_Run = TypeVar("_Run")


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
    step: float = 0.0
    """What is counted comes in such steps, in the quantity's unit; 0 for what is measured."""

    @property
    def spread_to_reckon(self) -> float | None:
        """The spread, but never less than a count's step leaves unknown; None for a single run."""
        return None if self.spread is None else max(self.spread, step_sd(self.step))

    @property
    def mean_with_spread(self) -> Quantity:
        """The mean with the doubt that so few repeats leave (GUM 4.2.3) beside the rig's."""
        if self.spread_to_reckon is None:
            return self.mean
        source = Source(f"spread of the repeats of {self.boat}", dof=self.count - 1)
        return self.mean.plus_doubt(source, self.spread_to_reckon / math.sqrt(self.count))


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


def repeats_of(boat: str, runs: Sequence[Quantity], *, floors_count: int = 0, step: float = 0.0) -> Repeats:
    """Mean and spread of `runs` (at least one) of the same quantity, `floors_count` of them cut short.

    `step`: what is counted comes in such steps.
    """
    found = spread_of([run.value for run in runs])
    mean = Quantity.linear(found.mean, runs[0].unit, [(1 / found.count, run) for run in runs])
    return Repeats(boat, mean, found.sd, found.count, floors_count, step)


def repeats_of_results(boat: str, results: Sequence[Result], name: str) -> Repeats:
    """Mean and spread of at least one result of the name `name`, those that were cut short as floors."""
    floors_count = sum(one.at_least for one in results)
    return repeats_of(boat, [one.quantity for one in results], floors_count=floors_count, step=COLUMNS[name].step)


def compare_all(boats: Sequence[Repeats], probability: float = PROBABILITY) -> list[Comparison]:
    """Every pair; `probability` that no pair is wrongly called different."""
    repeated_count = sum(boat.spread is not None for boat in boats)
    return [
        _compare(a, b, lambda dof: class_factor(repeated_count, dof, probability)) for a, b in combinations(boats, 2)
    ]


def compare_each(pairs: Sequence[tuple[Repeats, Repeats]], probability: float = PROBABILITY) -> list[Comparison]:
    """Pairs that have nothing to do with each other; `probability` that none is wrongly called different (Šidák)."""
    told_count = sum(a.spread is not None and b.spread is not None for a, b in pairs)
    each = probability ** (1 / max(told_count, 1))
    return [_compare(a, b, lambda dof: modulus_factor(1, dof, each)) for a, b in pairs]


def class_factor(boats_count: int, dof: float, probability: float = PROBABILITY) -> float:
    """How many standard uncertainties apart two means must be, where every two of so many boats are looked at."""
    sets = max(1.0, boats_count / _BOATS_A_SET)
    return modulus_factor(math.comb(boats_count, 2) / sets, dof, probability ** (1 / sets))


def modulus_factor(pairs_count: float, dof: float, probability: float = PROBABILITY) -> float:
    """How many standard uncertainties apart two means must be, where so many pairs are looked at; Student's t for one.

    The point that the largest of so many independent standard normals, all divided by one estimate of their standard
    deviation, stays below with this probability. `dof` is cut to a whole number first (GUM G.4.1 note 1).
    """
    whole = max(1.0, math.floor(dof + 1e-9)) if math.isfinite(dof) else math.inf
    return _modulus_factor(pairs_count, whole, probability)


@cache  # its integral takes some milliseconds
def _modulus_factor(pairs_count: float, whole_dof: float, probability: float) -> float:
    if pairs_count == 1:
        return float(t.ppf((1 + probability) / 2, whole_dof))
    if math.isinf(whole_dof):
        return float(norm.ppf((1 + probability ** (1 / pairs_count)) / 2))
    shares = (np.arange(_SLICES_COUNT) + 0.5) / _SLICES_COUNT
    scale = np.sqrt(chi2.ppf(shares, whole_dof) / whole_dof)

    def exceeded(factor: float) -> float:
        return float(np.mean((2 * ndtr(factor * scale) - 1) ** pairs_count)) - probability

    return float(brentq(exceeded, 0.5, _LARGEST, xtol=1e-6))


def _compare(a: Repeats, b: Repeats, factor: Callable[[float], float]) -> Comparison:
    difference = a.mean_with_spread - b.mean_with_spread
    # without repeats nobody knows how much a boat differs from itself
    if a.spread is None or b.spread is None or _cut_short(a, b):
        return Comparison(a.boat, b.boat, difference, math.inf)
    wide = _as_wide(a, b).mean_with_spread - _as_wide(b, a).mean_with_spread
    return Comparison(a.boat, b.boat, difference, max(factor(one.dof) * one.u for one in (difference, wide)))


def _cut_short(a: Repeats, b: Repeats) -> bool:
    """Whether the one that seems to have less may truly have more."""
    less = a if a.mean.value < b.mean.value else b
    return less.floors_count > 0


def _as_wide(one: Repeats, other: Repeats) -> Repeats:
    """Runs that a wall cut short lie close together; such a boat is taken to spread no less than the other."""
    if not one.floors_count or one.spread is None or other.spread is None:
        return one
    return replace(one, spread=max(one.spread, other.spread))


def grouped(runs: Sequence[tuple[str, _Run]]) -> Mapping[str, list[_Run]]:
    """Runs by boat, boats in the order in which they first came."""
    groups: dict[str, list[_Run]] = {}
    for boat, run in runs:
        groups.setdefault(boat, []).append(run)
    return groups
