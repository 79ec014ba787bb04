"""Places with ties by eye; how many repeats against a published table; and how often a class is told wrongly."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from statsmodels.stats.power import TTestIndPower

from calibration.quantity import Quantity
from logger.study.compare import Repeats, compare_all, repeats_of
from logger.study.ranking import MOST_REPEATS, places, power, repeats_needed


def boat(name: str, *times_s: float) -> Repeats:
    return repeats_of(name, [Quantity(time, "s", {}) for time in times_s])


def test_boats_that_are_too_close_to_call_share_a_place() -> None:
    boats = [boat("Reed", 5.0, 5.1, 4.9), boat("Heron", 5.05, 4.95, 5.1), boat("Slow", 9.0, 9.2, 8.8)]
    found = places(boats, compare_all(boats), more_is_better=False)
    assert [(one.boat, one.place, one.is_tie) for one in found] == [
        ("Reed", 1, True), ("Heron", 1, True), ("Slow", 3, False),
    ]  # fmt: skip
    turned = places(boats, compare_all(boats), more_is_better=True)
    assert [(one.boat, one.place) for one in turned] == [("Slow", 1), ("Heron", 2), ("Reed", 2)]


def test_without_repeats_all_share_the_first_place() -> None:
    boats = [boat("A", 5.0), boat("B", 9.0)]
    assert {one.place for one in places(boats, compare_all(boats), more_is_better=False)} == {1}


# Cohen, Statistical Power Analysis for the Behavioral Sciences (1988), table 2.4.1, two sides, a = 0.05, power 0.80:
# d = 0.80 wants 26 in each group, d = 1.00 wants 17, d = 1.20 wants 12 (from memory)
@pytest.mark.parametrize(("d", "wanted"), [(0.8, 26), (1.0, 17), (1.2, 12)])
def test_as_many_repeats_as_the_handbook_says(d: float, wanted: int) -> None:
    one = Repeats("A", Quantity(0.0, "s", {}), 1.0, 3)
    other = Repeats("B", Quantity(d, "s", {}), 1.0, 3)
    assert repeats_needed(one, other) == wanted


@pytest.mark.parametrize(("d", "count"), [(0.5, 8), (1.0, 5), (2.0, 4)])
def test_the_power_is_that_of_statsmodels(d: float, count: int) -> None:
    judged = TTestIndPower().power(effect_size=d, nobs1=count, alpha=0.05)
    assert power(d / np.sqrt(2 / count), 2 * count - 2, 0.95) == pytest.approx(judged, abs=1e-6)


def test_what_no_lesson_has_time_for_is_not_promised() -> None:
    assert repeats_needed(boat("A", 5.0, 6.0, 4.0), boat("B", 5.01, 6.02, 4.0)) is None
    assert repeats_needed(boat("A", 5.0), boat("B", 9.0, 9.1)) is None
    assert (repeats_needed(boat("A", 5.0, 5.1, 4.9), boat("B", 9.0, 9.1, 8.9)) or 99) <= MOST_REPEATS


def test_equal_boats_are_seldom_put_in_an_order() -> None:
    """1,000 classes of four boats that are all alike, three runs each: at most about 5 % show any clear difference."""
    rng = np.random.default_rng(5)
    wrong = 0
    for _ in range(1000):
        boats = [boat(name, *rng.normal(6.0, 0.6, 3)) for name in "ABCD"]
        found = places(boats, compare_all(boats), more_is_better=False)
        wrong += any(a.place != b.place for a, b in pairwise(found))
    assert wrong / 1000 < 0.07
