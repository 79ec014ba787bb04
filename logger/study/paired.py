"""Before and after: each team against itself, so that what teams differ by anyway does not count.

For every team the mean of its runs after less the mean before; then the mean of these differences with the doubt that
their scatter leaves (the paired t test of Student 1908). A difference of all teams alike is told from chance at 95 %.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scipy import stats

from calibration.quantity import Quantity
from logger.study.compare import PROBABILITY


@dataclass(frozen=True, slots=True)
class Change:
    """What came of a rebuild in a class."""

    by_team: Mapping[str, float]
    """After less before, of the teams that have both, in the unit of the mean."""
    mean: Quantity
    U: float
    """Expanded uncertainty of the mean change, 95 %; infinite for a single team."""
    without_both: tuple[str, ...]
    """Teams of which one of the two is missing."""

    @property
    def is_clear(self) -> bool:
        """Whether all teams together changed by more than chance explains."""
        return abs(self.mean.value) > self.U

    def moved(self, *, up: bool) -> int:
        """How many teams went up, or down."""
        return sum((change > 0) == up for change in self.by_team.values() if change != 0)


def change(before: Mapping[str, Sequence[Quantity]], after: Mapping[str, Sequence[Quantity]]) -> Change | None:
    """What changed from `before` to `after`, runs by team; None if no team has both."""
    teams = [team for team in before if before[team] and after.get(team)]
    if not teams:
        return None
    by_team = {
        team: statistics.fmean(run.value for run in after[team]) - statistics.fmean(run.value for run in before[team])
        for team in teams
    }
    count, changes = len(teams), list(by_team.values())
    expanded = math.inf
    if count > 1:
        t = float(stats.t.ppf((1 + PROBABILITY) / 2, count - 1))
        expanded = t * statistics.stdev(changes) / math.sqrt(count)
    missing = tuple(team for team in dict.fromkeys([*before, *after]) if team not in by_team)
    mean = Quantity(statistics.fmean(changes), before[teams[0]][0].unit, {})
    return Change(by_team, mean, expanded, missing)
