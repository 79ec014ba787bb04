"""Which of several levels differ, where no two of them need spread alike.

All together: Welch (1951, Biometrika 38:330). Pair by pair, before one is said to be more than another: as boats are
compared (compare.py), at 95 % for all pairs together. Both must be clear. Where several boats take part, a level is the
mean of its boats, each boat weighing the same, and only boats count that ran at every level.

A level with a run in it that was cut short is a floor: it may be shown to be more than another, never less.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from scipy import stats

from logger.study.compare import modulus_factor
from logger.study.effects import Groups, groups


@dataclass(frozen=True, slots=True)
class Case:
    """A run, or the mean of a boat."""

    level: str
    value: float
    """In any unit."""
    block: str = ""
    """Beside which others it is compared: its boat, for instance."""
    at_least: bool = False
    """Cut short: the truth is so much or more."""


@dataclass(frozen=True, slots=True)
class Level:
    """One level, in the unit of the values."""

    name: str
    mean: float
    """In the unit of the values."""
    spread: float
    """Standard deviation of cases about their own mean."""
    share: float
    """The variance of the mean over that of a case: a plain number."""
    dof: int
    """Degrees of freedom of the spread: a plain number."""
    floors_count: int

    @property
    def u(self) -> float:
        """Standard uncertainty of the mean from the spread."""
        return self.spread * math.sqrt(self.share)


@dataclass(frozen=True, slots=True)
class Judged:
    """What levels differ by."""

    together: Groups | None
    """The test of all together; None where runs were cut short, or nothing is repeated."""
    more: tuple[tuple[str, str], ...]
    """Pairs of which the first is clearly more than the second, largest first."""
    floors_count: int
    cases_count: int

    @property
    def is_clear(self) -> bool:
        """Whether it may be said that levels differ: two of them can be named."""
        return bool(self.more)


def judged(cases: Sequence[Case], *, step: float) -> Judged | None:
    """What can be said of the levels; None unless two of them at least are repeated, or stand side by side in blocks.

    Args:
        cases: those that count.
        step: how finely values are written or counted: runs that agree to the digit still spread by as much as that
            hides (GUM F.2.2.1), else two counts that happen to agree would be without any doubt.
    """
    found = _levels(cases, step / math.sqrt(12))
    floors_count = sum(case.at_least for case in cases)
    if len(found) < 2:
        return None if floors_count else _side_by_side(cases, step / math.sqrt(12))
    together = None if floors_count else welch(found, count=len(cases))
    pairs = [_pair(a, b, math.comb(len(found), 2)) for a, b in combinations(found, 2)]
    return Judged(together, _named(together, pairs), floors_count, len(cases))


def welch(levels: Sequence[Level], *, count: int) -> Groups:
    """Welch's test that at least two levels all have one mean; `count` cases."""
    weights = [1 / level.u**2 for level in levels]
    whole, more = sum(weights), len(levels) - 1
    middle = sum(weight * level.mean for weight, level in zip(weights, levels, strict=True)) / whole
    between = sum(w * (level.mean - middle) ** 2 for w, level in zip(weights, levels, strict=True)) / more
    lost = sum((1 - w / whole) ** 2 / level.dof for w, level in zip(weights, levels, strict=True))
    squared = len(levels) ** 2 - 1
    ratio = between / (1 + 2 * (len(levels) - 2) / squared * lost)
    return Groups(count, len(levels), ratio, float(stats.f.sf(ratio, more, squared / (3 * lost))))


def _levels(cases: Sequence[Case], least_spread: float) -> list[Level]:
    """Levels that are repeated, each over the blocks that have them all."""
    names = [name for name in dict.fromkeys(case.level for case in cases) if _freedom(cases, name)]
    blocks = [
        block for block in dict.fromkeys(case.block for case in cases)
        if {case.level for case in cases if case.block == block} >= set(names)
    ]  # fmt: skip
    kept = [case for case in cases if case.block in blocks and case.level in names]
    if any(not _freedom(kept, name) for name in names):
        return []
    found = [_level([case for case in kept if case.level == name], blocks, least_spread) for name in names]
    return sorted(found, key=lambda level: -level.mean)


def _freedom(cases: Sequence[Case], name: str) -> int:
    own = [case for case in cases if case.level == name]
    return len(own) - len({case.block for case in own})


def _level(own: Sequence[Case], blocks: Sequence[str], least_spread: float) -> Level:
    values = [[case.value for case in own if case.block == block] for block in blocks]
    means, dof = [statistics.fmean(one) for one in values], len(own) - len(blocks)
    squares = sum((v - mean) ** 2 for one, mean in zip(values, means, strict=True) for v in one)
    share = sum(1 / len(one) for one in values) / len(blocks) ** 2
    spread = max(math.sqrt(squares / dof), least_spread)
    return Level(own[0].level, statistics.fmean(means), spread, share, dof, sum(case.at_least for case in own))


def _pair(a: Level, b: Level, pairs_count: int) -> tuple[str, str] | None:
    """The pair with the one that is clearly more in front; None if neither is."""
    more, less = (a, b) if a.mean > b.mean else (b, a)
    if less.floors_count:
        return None
    # runs that a wall cut short lie close together
    wide = replace(more, spread=max(more.spread, less.spread)) if more.floors_count else more
    for one in (more, wide):
        u = math.hypot(one.u, less.u)
        dof = _dof(one, less)
        if more.mean - less.mean <= modulus_factor(pairs_count, dof) * u:
            return None
    return more.name, less.name


def _dof(a: Level, b: Level) -> float:
    """Welch and Satterthwaite's (GUM G.4.1); where repeats are not equally many, no more than the fewer have.

    A spread that two runs tell is often far too small, and with it Welch's test of two runs beside six called equal
    levels different in 9 of 100 simulated experiments (tests/logger/study/test_levels.py).
    """
    if a.dof != b.dof:
        return min(a.dof, b.dof)
    return float((a.u**2 + b.u**2) ** 2 / (a.u**4 / a.dof + b.u**4 / b.dof))


def _side_by_side(cases: Sequence[Case], least_spread: float) -> Judged | None:
    """One case of each block at each level: block by block, what one has more than the other."""
    together = groups([c.value for c in cases], [c.level for c in cases], [c.block for c in cases])
    if together is None:
        return None
    sums = {case.level: sum(one.value for one in cases if one.level == case.level) for case in cases}
    names = sorted(sums, key=lambda name: -sums[name] / sum(case.level == name for case in cases))
    at = {(case.level, case.block): case.value for case in cases}
    blocks = list(dict.fromkeys(case.block for case in cases))
    pairs = []
    for one, other in combinations(names, 2):
        gaps = [at[one, b] - at[other, b] for b in blocks if (one, b) in at and (other, b) in at]
        if len(gaps) > 1:
            u = max(statistics.stdev(gaps), math.sqrt(2) * least_spread) / math.sqrt(len(gaps))
            gap = statistics.fmean(gaps)
            clear = abs(gap) > modulus_factor(math.comb(len(names), 2), len(gaps) - 1) * u
            pairs.append(((one, other) if gap > 0 else (other, one)) if clear else None)
    return Judged(together, _named(together, pairs), 0, len(cases))


def _named(
    together: Groups | None, pairs: Sequence[tuple[str, str] | None]
) -> tuple[tuple[str, str], ...]:  # fmt: skip
    if together is not None and not together.is_clear:
        return ()
    return tuple(pair for pair in pairs if pair is not None)
