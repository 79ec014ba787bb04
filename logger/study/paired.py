"""Before and after: each team against itself, so that what teams differ by anyway does not count.

For every team the mean of its runs after less the mean before; then the mean of these differences with the doubt that
their scatter leaves (the paired t test of Student 1908). A difference of all teams alike is told from chance at 95 %.

A mean with a run that a wall cut short is a floor (compare.py). If all teams together seem to have more after than
before, floors after say that it is so much at least, but one floor before says that it may be less, and nothing is
told; and the other way about.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping
from dataclasses import dataclass

from scipy import stats

from calibration.quantity import Quantity
from logger.study.compare import PROBABILITY, Repeats


@dataclass(frozen=True, slots=True)
class Change:
    """What came of a rebuild in a class."""

    by_team: Mapping[str, float]
    """After less before, of the teams that have both, in the unit of the mean."""
    mean: Quantity
    U: float
    """Expanded uncertainty of the mean change, 95 %; infinite for a single team, or where the side that seems to have
    less was cut short."""
    without_both: tuple[str, ...]
    """Teams of which one of the two is missing."""

    @property
    def is_clear(self) -> bool:
        """Whether all teams together changed by more than chance explains."""
        return abs(self.mean.value) > self.U

    def moved(self, *, up: bool) -> int:
        """How many teams went up, or down."""
        return sum((change > 0) == up for change in self.by_team.values() if change != 0)


def change(before: Mapping[str, Repeats | None], after: Mapping[str, Repeats | None]) -> Change | None:
    """What changed from `before` to `after`, repeats by team, None without runs; None if no team has both."""
    both = {
        team: (one, other) for team, one in before.items() if one is not None and (other := after.get(team)) is not None
    }
    if not both:
        return None
    by_team = {team: other.mean.value - one.mean.value for team, (one, other) in both.items()}
    count, changes = len(both), list(by_team.values())
    middle, expanded = statistics.fmean(changes), math.inf
    lesser_side = 0 if middle > 0 else 1
    if count > 1 and not any(sides[lesser_side].floors_count for sides in both.values()):
        t = float(stats.t.ppf((1 + PROBABILITY) / 2, count - 1))
        expanded = t * statistics.stdev(changes) / math.sqrt(count)
    missing = tuple(team for team in dict.fromkeys([*before, *after]) if team not in by_team)
    unit = next(iter(both.values()))[0].mean.unit
    return Change(by_team, Quantity(middle, unit, {}), expanded, missing)
