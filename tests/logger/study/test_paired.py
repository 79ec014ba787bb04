from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from calibration.quantity import Quantity
from logger.study.paired import change


def runs(*values: float) -> list[Quantity]:
    return [Quantity(value, "s", {}) for value in values]


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
    before = {name: runs(*rng.normal(6, 1, n)) for name, n in zip("ABCDEF", (3, 2, 3, 1, 3, 2), strict=True)}
    after = {name: runs(*rng.normal(5, 1, n)) for name, n in zip("ABCDEF", (2, 3, 3, 3, 1, 2), strict=True)}
    found = change(before, after)
    assert found is not None
    means = [[np.mean([run.value for run in side[name]]) for name in "ABCDEF"] for side in (before, after)]
    judged = stats.ttest_rel(means[1], means[0]).confidence_interval(0.95)
    assert (found.mean.value - found.U, found.mean.value + found.U) == pytest.approx((judged.low, judged.high))


def test_teams_without_both_are_named_and_one_team_alone_proves_nothing() -> None:
    found = change({"A": runs(5.0), "B": runs(6.0), "C": []}, {"A": runs(4.0), "D": runs(3.0)})
    assert found is not None
    assert found.by_team == {"A": -1.0}
    assert found.without_both == ("B", "C", "D")
    assert math.isinf(found.U)
    assert not found.is_clear
    assert change({"A": runs(1.0)}, {"B": runs(2.0)}) is None
