"""Levels that do not spread alike, against statsmodels and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.oneway import anova_oneway

from logger.study.levels import Case, judged

UNLIKE = {"foil": [4.1, 4.4, 4.0], "clay": [5.0, 5.9], "wax": [4.2, 4.6, 4.5, 4.9]}


def cases_of(own: dict[str, list[float]]) -> list[Case]:
    return [Case(level, value) for level, values in own.items() for value in values]


def test_welchs_test_is_that_of_statsmodels() -> None:
    found = judged(cases_of(UNLIKE), step=1e-6)
    wanted = anova_oneway(list(UNLIKE.values()), use_var="unequal", welch_correction=True)
    assert found is not None
    assert found.together is not None
    assert (found.together.ratio, found.together.chance) == pytest.approx((wanted.statistic, wanted.pvalue))


def test_of_two_levels_it_is_welchs_t_test() -> None:
    own = {"a": [4.1, 4.4, 4.0], "b": [5.0, 5.3, 4.9]}
    found, wanted = judged(cases_of(own), step=1e-6), stats.ttest_ind(*own.values(), equal_var=False)
    assert found is not None
    assert found.together is not None
    assert (found.together.ratio, found.together.chance) == pytest.approx((wanted.statistic**2, wanted.pvalue))
    assert found.more == (("b", "a"),)


@pytest.mark.parametrize(
    ("counts", "spreads"),
    [((2, 6, 6), (0.3, 0.05, 0.05)), ((3, 3, 3), (0.3, 0.05, 0.05)), ((3, 3, 3), (0.1, 0.1, 0.1)),
     ((2, 2), (0.3, 0.05))],
)  # fmt: skip
def test_equal_levels_are_called_different_in_one_of_twenty_at_most(
    counts: tuple[int, ...], spreads: tuple[float, ...]
) -> None:
    """300 experiments each; with Fisher's F the first called two of five different, with Welch's alone one of eight."""
    lot, called = np.random.default_rng(7), 0
    for _ in range(300):
        own = [
            (str(at), 5 * (1 + spread * lot.normal()))
            for at, (n, spread) in enumerate(zip(counts, spreads, strict=True))
            for _ in range(n)
        ]
        found = judged([Case(level, value) for level, value in own], step=1e-4)
        called += found is not None and found.is_clear
    assert called / 300 <= 0.06


def test_only_pairs_that_differ_clearly_are_named_largest_first() -> None:
    found = judged(cases_of({"a": [1.0, 1.1, 0.9], "b": [1.2, 1.0, 1.1], "c": [9.0, 9.1, 8.9]}), step=1e-4)
    assert found is not None
    assert found.more == (("c", "b"), ("c", "a"))


def test_counts_that_happen_to_agree_are_not_without_doubt() -> None:
    found = judged(cases_of({"a": [7.0, 7.0], "b": [8.0, 8.0]}), step=1.0)
    assert found is not None
    assert not found.is_clear


def test_a_floor_may_be_more_and_never_less() -> None:
    def of(floors: str) -> tuple[tuple[str, str], ...]:
        own = {"near": [400.0, 410.0, 405.0, 390.0], "far": [800.0, 820.0, 805.0, 790.0]}
        found = judged([Case(k, v, "", k == floors) for k, values in own.items() for v in values], step=0.01)
        assert found is not None
        assert found.together is None
        return found.more

    assert of("far") == (("far", "near"),)
    assert of("near") == ()


def test_boats_are_blocks_and_only_those_at_every_level_count() -> None:
    cases = [Case(level, own + more + wobble, boat)
             for boat, own in (("A", 100.0), ("B", 900.0))
             for level, more in (("fan", 30.0), ("hand", 0.0)) for wobble in (-2.0, 0.0, 2.0)]  # fmt: skip
    found = judged([*cases, Case("fan", 5000.0, "C"), Case("fan", 5001.0, "C")], step=0.01)
    assert found is not None
    assert found.more == (("fan", "hand"),)


def test_one_run_of_each_boat_at_each_level_is_compared_boat_by_boat() -> None:
    """Two levels: the paired t test."""
    fan, hand = [130.0, 935.0, 528.0, 333.0], [100.0, 900.0, 500.0, 300.0]
    cases = [Case(level, value, str(boat)) for level, values in (("fan", fan), ("hand", hand))
             for boat, value in enumerate(values)]  # fmt: skip
    found, wanted = judged(cases, step=0.01), stats.ttest_rel(fan, hand)
    assert found is not None
    assert found.together is not None
    assert found.together.chance == pytest.approx(wanted.pvalue)
    assert found.more == (("fan", "hand"),)


def test_too_few_runs_give_no_answer() -> None:
    assert judged(cases_of({"a": [1.0], "b": [2.0]}), step=0.1) is None
    assert judged(cases_of({"a": [1.0, 2.0, 3.0]}), step=0.1) is None
    assert (
        judged([Case("a", 1.0, "A"), Case("a", 2.0, "A"), Case("b", 1.0, "B"), Case("b", 2.0, "B")], step=0.1) is None
    )
