"""Runs that say only "at least", against published data and SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from logger.study.cut_short import scores, way

# Remission in weeks, Freireich et al. 1963, the example of Gehan 1965 (Biometrika 52:203)
TREATED = (6, 6, 6, 7, 10, 13, 16, 22, 23)
STILL = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
CONTROL = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)


def test_scores_of_gehans_example_add_up_as_published() -> None:
    """W = 271, as Gehan gives it and as handbooks of survival analysis repeat it (from memory of the latter)."""
    every = [*TREATED, *STILL, *CONTROL]
    found = scores(every, [9 <= at < 21 for at in range(len(every))])
    assert found[:21].sum() == 271
    assert found.sum() == 0


def test_without_floors_scores_are_ranks() -> None:
    values = [3.0, 9.0, 4.0, 4.0, 1.0]
    assert scores(values, [False] * 5) == pytest.approx(2 * stats.rankdata(values) - 6)


@pytest.mark.parametrize("seed", range(3))
def test_the_chance_is_that_of_scipys_permutation_test(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x, y = np.repeat([50.0, 100.0, 150.0], 3), rng.normal(400, 50, 9) + np.repeat([0.0, 20.0, 40.0], 3)
    found, ranks = way(x.tolist(), y.tolist(), [False] * 9), stats.rankdata(y)
    judged = stats.permutation_test(
        (x,), lambda one: abs(np.sum((one - 100) * ranks)), permutation_type="pairings", n_resamples=9999,
        alternative="greater", rng=np.random.default_rng(5),
    )  # fmt: skip
    assert found.chance == pytest.approx(judged.pvalue, abs=0.02)


def test_three_runs_in_a_row_are_chance_and_floors_at_the_heavy_end_are_not() -> None:
    assert not way([1.0, 2.0, 3.0], [4.0, 5.0, 6.0], [False] * 3).is_clear  # 2 of 6 orders show as much
    x = [50.0] * 4 + [150.0] * 4
    assert way(x, [600, 610, 620, 590, 1000, 1000, 1000, 1000], [False] * 4 + [True] * 4).sign == 1
    assert way(x, [600, 610, 620, 590, 1000, 1000, 1000, 1000], [False] * 4 + [True] * 4).is_clear
    light = way(x, [600, 600, 600, 600, 700, 710, 720, 730], [True] * 4 + [False] * 4)
    assert light.sign == 0, "who was stopped at 600 may have gone farther than 730"


def test_blocks_are_compared_with_themselves_only() -> None:
    x, boats = [1.0, 2.0, 3.0, 4.0] * 2, ["A"] * 4 + ["B"] * 4
    values = [1.0, 2.0, 3.0, 4.0, 104.0, 103.0, 102.0, 101.0]
    assert way(x, values, [False] * 8, boats).sign == 0
    assert way(x, [*values[:4], 101.0, 102.0, 103.0, 104.0], [False] * 8, boats).is_clear


def test_the_wall_makes_an_effect_that_is_not_there_in_one_class_of_twenty() -> None:
    """300 experiments of fifteen runs, half of them at the wall."""
    rng, x = np.random.default_rng(3), [50.0, 100.0, 150.0] * 5
    far = 900 + 100 * rng.normal(size=(300, 15))
    called = sum(way(x, np.minimum(one, 900).tolist(), (one >= 900).tolist()).is_clear for one in far)
    assert 0.01 < called / 300 < 0.09
