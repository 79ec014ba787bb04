from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from calibration.quantity import Quantity, Source
from logger.study.compare import class_factor, compare_all, compare_each, grouped, modulus_factor, repeats_of

GATES = Source("gate distance")


def runs_of(values: list[float], u: float = 0.0) -> list[Quantity]:
    return [Quantity(value, "s", {GATES: u}) for value in values]


# NIST Statistical Reference Datasets, univariate, NumAcc1: 10000001, 10000003, 10000002; certified mean 10000002, sd 1.
def test_mean_and_spread_of_nists_first_accuracy_set() -> None:
    boat = repeats_of("a", runs_of([10000001.0, 10000003.0, 10000002.0]))
    assert boat.mean.value == 10000002
    assert boat.spread == 1


# SciPy's ttest_ind(equal_var=False) is Welch's test; its degrees of freedom are not cut to a whole number, ours are
# (GUM G.4.1 note 1), so ours may only be the more careful one.
@given(
    st.lists(st.floats(1, 9), min_size=2, max_size=6, unique=True),
    st.lists(st.floats(1, 9), min_size=2, max_size=6, unique=True),
)
def test_without_rig_doubt_the_comparison_is_welchs_test(a: list[float], b: list[float]) -> None:
    if np.std(a) < 1e-3 or np.std(b) < 1e-3:
        return
    (pair,) = compare_all([repeats_of("a", runs_of(a)), repeats_of("b", runs_of(b))])
    judge = stats.ttest_ind(a, b, equal_var=False)
    assert pair.difference.value / pair.difference.u == pytest.approx(judge.statistic, rel=1e-9, abs=1e-12)
    assert pair.difference.dof == pytest.approx(judge.df, rel=1e-9)
    if not pair.too_close:
        assert judge.pvalue < 0.05
    if judge.pvalue < 0.002 and min(len(a), len(b)) > 3:
        assert not pair.too_close


def test_doubt_that_boats_share_cancels_in_their_difference() -> None:
    a, b = (repeats_of(name, runs_of([value, value + 0.02], u=0.5)) for name, value in (("a", 4.0), ("b", 5.0)))
    (pair,) = compare_all([a, b])
    assert a.mean.u == pytest.approx(0.5)
    assert pair.difference.u == pytest.approx(0.02 / math.sqrt(2))
    assert not pair.too_close


def test_one_run_is_never_enough_to_tell_boats_apart() -> None:
    (pair,) = compare_all([repeats_of("a", runs_of([1.0])), repeats_of("b", runs_of([9.0, 9.1, 9.0]))])
    assert math.isinf(pair.U)
    assert pair.too_close


def test_more_boats_make_every_pair_harder_to_tell_apart() -> None:
    boats = [repeats_of(name, runs_of([v, v + 0.1, v + 0.2])) for name, v in (("a", 1.0), ("b", 1.3), ("c", 1.6))]
    alone = compare_all(boats[:2])[0]
    in_class = compare_all(boats)[0]
    assert len(compare_all(boats)) == 3
    assert in_class.U > alone.U


# Upper 5 % points of the studentized maximum modulus, from memory of the printed tables (Stoline & Ury, Technometrics
# 21:87, 1979): three pairs, 10 degrees of freedom 2.83; infinitely many 2.39; ten pairs, infinitely many 2.80.
@pytest.mark.parametrize(("pairs", "dof", "m"), [(3, 10, 2.83), (3, math.inf, 2.39), (10, math.inf, 2.80)])
def test_the_factor_is_that_of_the_tables(pairs: int, dof: float, m: float) -> None:
    assert modulus_factor(pairs, dof) == pytest.approx(m, abs=0.006)


@pytest.mark.parametrize("dof", [2, 4, 9])
def test_the_factor_is_the_largest_of_many_draws(dof: int) -> None:
    draw = np.random.default_rng(dof)
    largest = np.abs(draw.normal(size=(200_000, 6))).max(axis=1) / np.sqrt(draw.chisquare(dof, 200_000) / dof)
    assert np.mean(largest <= modulus_factor(6, dof)) == pytest.approx(0.95, abs=0.002)


@pytest.mark.parametrize("dof", [1, 3, 8, 60])
def test_for_two_boats_the_factor_is_students(dof: int) -> None:
    assert modulus_factor(1, dof + 0.7) == pytest.approx(stats.t.isf(0.025, dof), rel=1e-6)


# What the procedure promises: with no true difference at most one class in twenty is told of one.
def test_equal_boats_are_called_different_in_fewer_than_one_class_of_twenty() -> None:
    draw = np.random.default_rng(7)
    wrong = 0
    for _ in range(400):
        boats = [repeats_of(str(i), runs_of(draw.normal(4.0, 0.4, 3).tolist())) for i in range(4)]
        wrong += any(not pair.too_close for pair in compare_all(boats))
    assert wrong / 400 < 0.05


def test_a_boat_of_one_run_does_not_make_the_others_harder_to_tell() -> None:
    two = [repeats_of(name, runs_of([v, v + 0.1, v + 0.2])) for name, v in (("a", 1.0), ("b", 1.3))]
    alone = compare_all(two)[0]
    assert compare_all([*two, repeats_of("c", runs_of([5.0]))])[0].U == alone.U


# JCGM 100:2008, F.2.2.1: a reading to the nearest step d is known to d/sqrt(12) at best, however alike its repeats are
def test_alike_counts_are_known_to_the_nearest_step_only() -> None:
    seven, eight = (repeats_of(str(n), [Quantity(n, "1", {})] * 2, step=1.0) for n in (7.0, 8.0))
    assert seven.spread == 0
    (pair,) = compare_all([seven, eight])
    assert pytest.approx(stats.t.isf(0.025, 2) * math.sqrt(1 / 12), rel=1e-6) == pair.U
    assert pair.too_close
    assert seven.mean_with_spread.U > 0


def test_equal_boats_that_count_are_seldom_called_different() -> None:
    """Counts of 7 or 8 by the toss of a coin, two and three runs each: exact odds of such a call by counting all."""
    for runs_count in (2, 3):
        wrong = 0
        for tosses in product((7.0, 8.0), repeat=2 * runs_count):
            a, b = tosses[:runs_count], tosses[runs_count:]
            boats = [repeats_of(n, [Quantity(v, "1", {}) for v in own], step=1.0) for n, own in (("a", a), ("b", b))]
            wrong += not compare_all(boats)[0].too_close
        assert wrong / 2 ** (2 * runs_count) <= 0.05


def test_up_to_five_boats_share_one_modulus_and_more_are_sets_of_five() -> None:
    assert class_factor(4, 6) == modulus_factor(6, 6)
    assert class_factor(5, 6) == modulus_factor(10, 6)
    assert class_factor(10, 6) == pytest.approx(modulus_factor(22.5, 6, math.sqrt(0.95)))


# Šidák (1967): n independent statements at 0.95^(1/n) each hold together at 95 %
def test_pairs_that_have_nothing_in_common_share_their_five_percent() -> None:
    pair = (repeats_of("a", runs_of([1.0, 1.1, 1.2])), repeats_of("b", runs_of([2.0, 2.1, 2.2])))
    (alone,) = compare_each([pair])
    assert alone.U == compare_all(pair)[0].U
    four = compare_each([pair] * 4)
    assert pytest.approx(stats.t.isf((1 - 0.95**0.25) / 2, 4) * four[0].difference.u) == four[0].U
    single = (pair[0], repeats_of("c", runs_of([1.0])))
    assert compare_each([pair, single])[0].U == alone.U, "what cannot be told costs the others nothing"


def test_of_eight_teams_whose_rebuild_changed_nothing_seldom_any_is_told_of_a_change() -> None:
    draw = np.random.default_rng(9)
    wrong = 0
    for _ in range(300):
        pairs = [tuple(repeats_of(n, runs_of(draw.normal(5.0, 0.5, 3).tolist())) for n in "ab") for _ in range(8)]
        wrong += any(not one.too_close for one in compare_each(pairs))  # type: ignore[arg-type]
    assert wrong / 300 <= 0.05


def test_runs_are_grouped_by_boat_in_the_order_they_came() -> None:
    made = grouped([("b", runs_of([1.0])[0]), ("a", runs_of([2.0])[0]), ("b", runs_of([3.0])[0])])
    assert {boat: [q.value for q in runs] for boat, runs in made.items()} == {"b": [1.0, 3.0], "a": [2.0]}
    assert list(made) == ["b", "a"]
