"""Places with ties by eye; how many repeats against a published table; and how often a class is told wrongly."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.power import TTestIndPower

from calibration.quantity import Quantity
from logger.study.compare import Comparison, Repeats, compare_all, repeats_of
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


def told(boats: list[Repeats], *, more_is_better: bool = False) -> dict[str, int | str]:
    """Boat -> its place, or why it has none."""
    found = places(boats, compare_all(boats), more_is_better=more_is_better)
    return {one.boat: one.place or one.why for one in found}


def test_who_ran_once_has_no_place() -> None:
    assert told([boat("A", 5.0), boat("B", 9.0)]) == {"A": "one run", "B": "one run"}
    assert told([boat("A", 5.0), boat("B", 9.0, 9.1)]) == {"B": "alone", "A": "one run"}


def test_nobody_comes_first_by_scattering() -> None:
    """By eye: Cat is clearly faster than Bee; Ant is slower than Bee in the mean, but one run of it was odd."""
    boats = [boat("Ant", 4.1, 4.3, 9.9), boat("Bee", 4.2, 4.25, 4.24), boat("Cat", 2.9, 2.95, 3.0), boat("Dot", 5.0)]
    assert told(boats) == {"Cat": 1, "Bee": 2, "Ant": "spread", "Dot": "one run"}


def test_a_boat_that_a_wall_stopped_early_has_no_place_before_one_that_went_farther() -> None:
    far, middle = boat("Far", 900, 905, 910), boat("Middle", 600, 605, 610)
    short = repeats_of("Short", [Quantity(v, "s", {}) for v in (300.0, 301.0, 302.0)], floors_count=3)
    assert told([short, middle, far], more_is_better=True) == {"Far": 1, "Middle": 2, "Short": "cut short"}


def test_what_is_clearly_better_than_a_clearly_better_one_is_clearly_better() -> None:
    """C is told from B and B from A; A's pair with C is left open here, as if their doubt were larger."""
    boats = [boat("A", 3.0, 3.1), boat("B", 5.0, 5.1), boat("C", 7.0, 7.1)]
    pairs = [Comparison(a, b, Quantity(d, "s", {}), u) for a, b, d, u in (
        ("A", "B", -2.0, 1.0), ("A", "C", -4.0, 9.0), ("B", "C", -2.0, 1.0),
    )]  # fmt: skip
    assert [one.place for one in places(boats, pairs, more_is_better=False)] == [1, 2, 3]


@given(
    st.lists(
        st.tuples(st.floats(1, 9), st.floats(0.01, 3), st.integers(1, 4), st.integers(0, 1)), min_size=1, max_size=7
    ),
    st.booleans(),
)
def test_places_follow_the_means_whatever_the_boats_do(
    made: list[tuple[float, float, int, int]], more_is_better: bool
) -> None:
    boats = [
        repeats_of(str(i), [Quantity(mean + spread * (j % 2), "s", {}) for j in range(count)], floors_count=floors)
        for i, (mean, spread, count, floors) in enumerate(made)
    ]
    means = {one.boat: one.mean.value for one in boats}
    found = places(boats, compare_all(boats), more_is_better=more_is_better)
    assert sorted(one.boat for one in found) == sorted(means)
    sign = -1 if more_is_better else 1
    placed = [one for one in found if one.place]
    for a, b in combinations(placed, 2):
        if (a.place or 0) < (b.place or 0):
            assert sign * means[a.boat] <= sign * means[b.boat]
    assert all(bool(one.why) == (one.place is None) for one in found)


def test_counts_that_are_alike_can_still_be_asked_how_many_more_would_tell() -> None:
    seven, eight = (repeats_of(str(n), [Quantity(n, "1", {})] * 2, step=1.0) for n in (7, 8))
    two, three = (TTestIndPower().power(effect_size=12**0.5, nobs1=n, alpha=0.05) for n in (2, 3))
    assert two < 0.8 < three
    assert repeats_needed(seven, eight) == 3


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
    assert wrong / 1000 <= 0.05
