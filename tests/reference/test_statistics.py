"""Means, spreads and comparisons of repeats against published analyses and NIST's certified values."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import combinations
from pathlib import Path

import pytest
from scipy import stats

from calibration.quantity import Quantity
from logger.study.compare import Comparison, Repeats, compare_all, repeats_of

# Student (1908): hours of sleep gained by ten patients with two drugs.
SLEEP = ((0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0), (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4))
SHORT = ((1.0, 2.0, 3.0), (1.1, 2.9, 4.2))
THREE = ((24.5, 23.5, 26.4, 27.1, 29.9), (28.4, 34.2, 29.5, 32.2, 30.1), (26.1, 28.3, 24.3, 26.2, 27.8))
LONGER = ((1.0, 2.0, 3.0, 4.0), (1.1, 2.9, 4.2))


def runs(name: str, values: Sequence[float]) -> Repeats:
    """Repeats on an instrument without any doubt of its own."""
    return repeats_of(name, [Quantity(value, "1") for value in values])


def compared(pair: Sequence[Sequence[float]]) -> Comparison:
    (only,) = compare_all([runs("first", pair[0]), runs("second", pair[1])])
    return only


def auto83b() -> Comparison:
    """Miles per gallon of 249 American and 79 Japanese cars."""
    american = Repeats("american", Quantity(20.14458, "1"), 6.41470, 249)
    japanese = Repeats("japanese", Quantity(30.48101, "1"), 6.10771, 79)
    (only,) = compare_all([american, japanese])
    return only


def three() -> list[Comparison]:
    return compare_all([runs(name, values) for name, values in zip("abc", THREE, strict=True)])


def t_of(comparison: Comparison) -> float:
    return comparison.difference.value / comparison.difference.u


def paired() -> Quantity:
    return runs("difference", [a - b for a, b in zip(*SLEEP, strict=True)]).mean_with_spread


CALLS: dict[str, Callable[[], float]] = {
    "welch.auto83b_t": lambda: t_of(auto83b()),
    "welch.auto83b_df": lambda: auto83b().difference.dof,
    "welch.sleep_t": lambda: t_of(compared(SLEEP)),
    "welch.sleep_df": lambda: compared(SLEEP).difference.dof,
    "paired.sleep_t": lambda: paired().value / paired().u,
    "welch.scipy1_t": lambda: t_of(compared(SHORT)),
    "welch.scipy2_t": lambda: t_of(compared(LONGER)),
    "tukey.d01": lambda: three()[0].difference.value,
}


@pytest.mark.parametrize("name", CALLS)
def test_a_comparison_comes_out_as_published(name: str, agrees: Callable[[str, float], None]) -> None:
    agrees(name, CALLS[name]())


@pytest.mark.parametrize("pair", [SLEEP, SHORT, LONGER])
def test_two_boats_differ_exactly_where_welch_s_test_says_so(pair: Sequence[Sequence[float]]) -> None:
    """SciPy takes the degrees of freedom as they are, we truncate them (GUM G.4.1): our interval is a little wider."""
    ours = compared(pair)
    theirs = stats.ttest_ind(*pair, equal_var=False)
    half_width = theirs.confidence_interval(0.95).high - ours.difference.value
    assert ours.difference.dof == pytest.approx(theirs.df, rel=1e-12)
    assert half_width <= ours.U < 1.15 * half_width
    assert ours.too_close == (theirs.pvalue > 0.05)


def test_the_sleep_data_are_too_close_to_call_unless_they_are_paired() -> None:
    assert compared(SLEEP).too_close
    assert abs(paired().value) > paired().U


def test_a_real_difference_is_seen() -> None:
    assert not auto83b().too_close


@pytest.mark.parametrize("pair", list(combinations(range(3), 2)))
def test_three_boats_are_told_apart_where_games_and_howell_do_with_a_little_more_care(pair: tuple[int, int]) -> None:
    """SciPy's tukey_hsd with unequal variances is their procedure, which calls too much with few repeats."""
    i, j = pair
    theirs = stats.tukey_hsd(*THREE, equal_var=False)
    bounds = theirs.confidence_interval(0.95)
    half_width = (bounds.high[i, j] - bounds.low[i, j]) / 2
    ours = next(c for c in three() if (c.first, c.second) == ("abc"[i], "abc"[j]))
    assert ours.difference.value == pytest.approx(theirs.statistic[i, j])
    assert half_width <= ours.U < 1.10 * half_width
    assert ours.too_close or theirs.pvalue[i, j] < 0.05


# --- NIST Statistical Reference Datasets, univariate: https://www.itl.nist.gov/div898/strd (public domain) ---


def numacc(middle: float, count: int) -> list[float]:
    """NumAcc2 to 4: the middle once, then 0.1 below and 0.1 above in turn."""
    return [middle] + [round(middle + (-0.1, 0.1)[i % 2], 1) for i in range(count - 1)]


def digits(ours: float, certified: float) -> float:
    """NIST's measure of agreement: the number of common leading digits (LRE), at most 15."""
    if ours == certified:
        return 15.0
    return min(15.0, -math.log10(abs(ours - certified) / abs(certified)))


@pytest.mark.parametrize(
    ("values", "mean", "sd", "sd_digits"),
    [
        ([10_000_001, 10_000_003, 10_000_002], 10_000_002, 1, 15),
        (numacc(1.2, 1001), 1.2, 0.1, 13.5),
        # the tenth itself is not exact in binary: two passes over 1000000.2 ± 0.1 cannot do better than 9.5 digits
        (numacc(1_000_000.2, 1001), 1_000_000.2, 0.1, 9),
        (numacc(10_000_000.2, 1001), 10_000_000.2, 0.1, 8),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_means_and_spreads_keep_their_digits(values: list[float], mean: float, sd: float, sd_digits: float) -> None:
    ours = runs("NumAcc", values)
    assert ours.count == len(values)
    assert digits(ours.mean.value, mean) > 14
    assert ours.spread is not None
    assert digits(ours.spread, sd) >= sd_digits


CERTIFIED = {
    # name: (count, mean, standard deviation) as certified
    "Lew": (200, -177.435, 277.332168044316),
    "Lottery": (218, 518.958715596330, 291.699727470969),
}


@pytest.mark.parametrize("name", CERTIFIED)
def test_measured_series_come_out_as_certified(real_data: Path, name: str) -> None:
    lines = (real_data / "nist_strd" / "univariate" / f"{name}.dat").read_text(encoding="ascii").splitlines()
    count, mean, sd = CERTIFIED[name]
    ours = runs(name, [float(line) for line in lines[60:] if line.strip()])
    assert ours.count == count
    assert digits(ours.mean.value, mean) > 13
    assert ours.spread is not None
    assert digits(ours.spread, sd) > 13
