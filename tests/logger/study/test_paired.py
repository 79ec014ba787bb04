from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from calibration.quantity import Quantity
from logger.study.compare import Repeats, repeats_of
from logger.study.paired import change


def runs(*values: float, floors_count: int = 0) -> Repeats:
    return repeats_of("boat", [Quantity(value, "s", {}) for value in values], floors_count=floors_count)


# Student, "The probable error of a mean", Biometrika 6 (1908), section IX: additional hours of sleep of ten patients by
# two drugs, from Cushny and Peebles (1905); the mean difference is 1.58, its t is 4.06
FIRST = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SECOND = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def test_the_example_by_which_the_test_became_known() -> None:
    before = {str(n): runs(value) for n, value in enumerate(FIRST)}
    after = {str(n): runs(value) for n, value in enumerate(SECOND)}
    found = change(before, after)
    assert found is not None
    assert found.mean.value == pytest.approx(1.58)
    u = found.U / stats.t.ppf(0.975, 9)
    assert found.mean.value / u == pytest.approx(4.06, abs=0.005)
    assert found.is_clear
    assert found.moved(up=True) == 9
    assert found.moved(up=False) == 0


def test_teams_count_once_however_many_runs_they_made_and_the_interval_is_scipys() -> None:
    rng = np.random.default_rng(3)
    drawn = [
        {name: rng.normal(middle, 1, n) for name, n in zip("ABCDEF", counts, strict=True)}
        for middle, counts in ((6, (3, 2, 3, 1, 3, 2)), (5, (2, 3, 3, 3, 1, 2)))
    ]
    before, after = ({name: runs(*values) for name, values in side.items()} for side in drawn)
    found = change(before, after)
    assert found is not None
    means = [[np.mean(side[name]) for name in "ABCDEF"] for side in drawn]
    judged = stats.ttest_rel(means[1], means[0]).confidence_interval(0.95)
    assert (found.mean.value - found.U, found.mean.value + found.U) == pytest.approx((judged.low, judged.high))


def test_teams_without_both_are_named_and_one_team_alone_proves_nothing() -> None:
    found = change({"A": runs(5.0), "B": runs(6.0), "C": None}, {"A": runs(4.0), "D": runs(3.0)})
    assert found is not None
    assert found.by_team == {"A": -1.0}
    assert found.without_both == ("B", "C", "D")
    assert math.isinf(found.U)
    assert not found.is_clear
    assert change({"A": runs(1.0)}, {"B": runs(2.0)}) is None


def test_floors_after_bound_a_rise_from_below_and_say_nothing_of_a_fall() -> None:
    before = {"A": runs(5.0), "B": runs(6.0), "C": runs(7.0)}
    more = {"A": runs(8.0, floors_count=1), "B": runs(9.1, floors_count=1), "C": runs(9.9)}
    less = {"A": runs(2.0, floors_count=1), "B": runs(3.1), "C": runs(3.9)}
    rise, fall = change(before, more), change(before, less)
    assert rise is not None
    assert rise.is_clear
    assert fall is not None
    assert math.isinf(fall.U)


def test_floors_before_say_nothing_of_a_rise() -> None:
    before = {"A": runs(5.0, floors_count=1), "B": runs(6.0)}
    rise = change(before, {"A": runs(8.0), "B": runs(9.1)})
    fall = change(before, {"A": runs(2.0), "B": runs(3.01)})
    assert rise is not None
    assert math.isinf(rise.U)
    assert fall is not None
    assert fall.is_clear


def test_a_class_near_the_wall_whose_rebuild_changed_nothing_is_seldom_told_of_a_change() -> None:
    """Four teams, three runs each side, a wall that half of the classes' best runs reach: at most 5 % are told."""
    rng = np.random.default_rng(8)
    wrong = 0
    for _ in range(500):
        teams = 1000 * (1 + 0.2 * rng.normal(size=(4, 1, 1))) * (1 + 0.12 * rng.normal(size=(4, 2, 3)))
        sides = [
            {
                str(team): runs(*np.minimum(own, 1300.0).tolist(), floors_count=int((own >= 1300).sum()))
                for team, own in enumerate(teams[:, side])
            }
            for side in (0, 1)
        ]
        found = change(*sides)
        assert found is not None
        wrong += found.is_clear
    assert wrong / 500 <= 0.05
