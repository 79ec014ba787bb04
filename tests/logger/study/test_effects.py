"""Lines and groups against statsmodels and SciPy."""

from __future__ import annotations

import numpy as np
import pandas
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from scipy import stats

from logger.study.effects import groups, line

EXACT = ([1.0, 2.0, 3.0, 4.0], [5.0, 8.0, 11.0, 14.0])


def test_an_exact_line_is_found_exactly() -> None:
    found = line(*EXACT)
    assert found is not None
    assert (found.intercept, found.slope) == pytest.approx((2.0, 3.0))
    assert found.residual == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_line_and_its_band_are_those_of_statsmodels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = rng.choice([50.0, 100.0, 150.0], 12)
    y = 300 + 0.7 * x + rng.normal(0, 30, 12)
    found, judged = line(x.tolist(), y.tolist()), sm.OLS(y, sm.add_constant(x)).fit()
    assert found is not None
    assert (found.intercept, found.slope) == pytest.approx(tuple(judged.params))
    assert (found.u_intercept, found.u_slope) == pytest.approx(tuple(judged.bse))
    low, high = judged.conf_int()[1]
    assert (found.slope - found.U_slope, found.slope + found.U_slope) == pytest.approx((low, high))
    seen = judged.get_prediction([[1.0, 80.0]]).conf_int()[0]
    value, half = found.band(80.0)
    assert (value - half, value + half) == pytest.approx(tuple(seen))


@pytest.mark.parametrize("seed", range(3))
def test_boats_as_blocks_are_those_of_statsmodels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    table = pandas.DataFrame({"boat": rng.choice(list("ABC"), 20), "x": rng.choice([1.0, 2.0, 3.0], 20)})
    table["y"] = table["boat"].map({"A": 0.0, "B": 50.0, "C": -20.0}) + 4 * table["x"] + rng.normal(0, 2, 20)
    judged = smf.ols("y ~ x + C(boat)", table).fit()
    found = line(table["x"].tolist(), table["y"].tolist(), table["boat"].tolist())
    assert found is not None
    assert (found.slope, found.u_slope) == pytest.approx((judged.params["x"], judged.bse["x"]))
    assert found.dof == judged.df_resid
    anova = sm.stats.anova_lm(smf.ols("y ~ C(boat) + C(x)", table).fit(), typ=1)
    ranked = groups(table["y"].tolist(), [str(x) for x in table["x"]], table["boat"].tolist())
    assert ranked is not None
    assert (ranked.ratio, ranked.chance) == pytest.approx((anova["F"]["C(x)"], anova["PR(>F)"]["C(x)"]))


def test_groups_are_told_apart_as_scipy_does() -> None:
    own = {"foil": [4.1, 4.4, 4.0], "clay": [5.0, 5.3], "wax": [4.2, 4.6, 4.5, 4.9]}
    judged = stats.f_oneway(*own.values())
    found = groups([v for values in own.values() for v in values], [k for k, values in own.items() for _ in values])
    assert found is not None
    assert (found.ratio, found.chance) == pytest.approx((judged.statistic, judged.pvalue))


def test_digits_that_all_values_share_are_not_lost() -> None:
    """As in NIST's SmLs07: thirteen digits, the last two of which differ; shifted by a whole number nothing changes."""
    near = [0.4, 0.3, 0.5, 0.6, 0.7, 0.5]
    levels = list("aaabbb")
    small, large = groups(near, levels), groups([1e12 + value for value in near], levels)
    assert small is not None
    assert large is not None
    assert large.ratio == pytest.approx(small.ratio, rel=2e-3)


def test_too_few_runs_give_no_answer() -> None:
    assert line([1.0, 2.0], [3.0, 4.0]) is None
    assert line([1.0, 1.0, 1.0], [3.0, 4.0, 5.0]) is None
    assert groups([1.0, 2.0], ["a", "b"]) is None
    assert groups([1.0, 2.0, 3.0], ["a", "a", "a"]) is None


def test_a_slope_that_is_not_there_is_called_in_one_class_of_twenty() -> None:
    """2,000 experiments of nine runs without any effect."""
    rng = np.random.default_rng(8)
    x = [50.0, 100.0, 150.0] * 3
    called = sum(bool((found := line(x, rng.normal(400, 40, 9).tolist())) and found.is_clear) for _ in range(2000))
    assert 0.035 < called / 2000 < 0.065


def test_what_changed_evenly_beside_is_taken_out_as_statsmodels_does() -> None:
    rng = np.random.default_rng(6)
    x, z = rng.normal(100, 30, 14), rng.normal(5, 2, 14)
    y = 3 * x + 40 * z + rng.normal(0, 10, 14)
    judged = sm.OLS(y, sm.add_constant(np.column_stack([x, z]))).fit()
    found = line(x.tolist(), y.tolist(), beside=z.tolist())
    assert found is not None
    assert (found.slope, found.u_slope) == pytest.approx((judged.params[1], judged.bse[1]))
    assert found.dof == judged.df_resid
    assert line(x.tolist(), y.tolist(), beside=(2 * x + 1).tolist()) is None


def test_levels_that_are_boats_as_well_cannot_be_told_from_them() -> None:
    assert groups([1.0, 1.1, 2.0, 2.1], ["a", "a", "b", "b"], ["A", "A", "B", "B"]) is None
