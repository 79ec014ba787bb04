from __future__ import annotations

import math
from pathlib import Path

import pytest

from logger.results.repeats import median_is_floor, odd_run, relative_sd_of_sd, spread_of, step_sd


def test_three_runs() -> None:
    found = spread_of([4.89, 3.43, 3.10])
    assert found.mean == pytest.approx(3.8067, abs=1e-4)
    assert (found.median, found.count) == (3.43, 3)
    assert found.range == pytest.approx(1.79)
    assert found.sd == pytest.approx(0.952, abs=1e-3)
    assert found.u_mean == pytest.approx(0.952 / 3**0.5, abs=1e-3)
    assert found.u_sd == pytest.approx(0.52 * found.sd, rel=0.01)


def test_one_run_has_no_spread_and_none_is_refused() -> None:
    assert spread_of([4.0]).sd is None
    assert spread_of([4.0]).u_mean is None
    with pytest.raises(ValueError, match="no run; at least one"):
        spread_of([])
    with pytest.raises(ValueError, match="spread of 1 reading"):
        relative_sd_of_sd(1)


@pytest.mark.parametrize(
    ("count", "percent"), [(2, 76), (3, 52), (4, 42), (5, 36), (10, 24), (20, 16), (30, 13), (50, 10)]
)
def test_the_spread_of_a_spread_is_that_of_gum_table_e_1(count: int, percent: int) -> None:
    assert round(100 * relative_sd_of_sd(count)) == percent


@pytest.mark.parametrize(
    ("values", "mean", "sd", "digits"),
    [
        ([10000001, 10000003, 10000002], 10000002, 1, 14),  # NIST StRD NumAcc1
        ([1.2] + [1.1, 1.3] * 500, 1.2, 0.1, 13),  # NumAcc2
        ([1000000.2] + [1000000.1, 1000000.3] * 500, 1000000.2, 0.1, 9),  # NumAcc3
        ([10000000.2] + [10000000.1, 10000000.3] * 500, 10000000.2, 0.1, 8),  # NumAcc4
    ],
)
def test_nist_numerical_accuracy_sets(values: list[float], mean: float, sd: float, digits: int) -> None:
    """NIST Statistical Reference Datasets, univariate, certified values exact; log relative error as reached there."""
    found = spread_of(values)
    assert found.mean == pytest.approx(mean, rel=10.0**-14)
    assert found.sd == pytest.approx(sd, rel=10.0**-digits * 3)


@pytest.mark.parametrize("name", ["Lew", "Lottery"])
def test_nist_univariate_sets(real_data: Path, name: str) -> None:
    file = real_data / "nist_strd" / "univariate" / f"{name}.dat"
    if not file.is_file():
        pytest.skip(f"{file} is not there")
    text = file.read_text()
    certified = {
        key: float(text.split(key, 1)[1].split(":", 1)[1].split()[0])
        for key in ("Sample Mean", "Sample Standard Deviation")
    }
    values = [float(line) for line in text.splitlines()[60:] if line.strip()]
    found = spread_of(values)
    assert found.mean == pytest.approx(certified["Sample Mean"], rel=1e-13)
    assert found.sd is not None
    assert -math.log10(abs(found.sd / certified["Sample Standard Deviation"] - 1) + 1e-16) > 12


# Grubbs and Beck, Technometrics 14:847 (1972), table 1, upper 5 % points of one side: 10 % of both (from memory)
@pytest.mark.parametrize(("count", "limit"), [(3, 1.153), (4, 1.463), (5, 1.672), (6, 1.822), (8, 2.032), (10, 2.176)])
@pytest.mark.parametrize("turned", [1.0, -1.0])
def test_a_run_is_odd_where_grubbs_table_says_so(count: int, limit: float, turned: float) -> None:
    def with_last(far: float) -> list[float]:
        return [*range(count - 1), count / 2 + turned * far]

    def grubbs(values: list[float]) -> float:
        found = spread_of(values)
        return abs(values[-1] - found.mean) / (found.sd or 1.0)

    def widened(values: list[float]) -> list[float]:
        """The same shape, as far apart as no boat's runs are."""
        return [100 + 90 / far * value for value in values]

    fars = [1.02**step for step in range(300)]
    far = next(one for one in fars if grubbs(with_last(one)) > limit + 0.0005)
    near = next(one for one in reversed(fars) if grubbs(with_last(one)) < limit - 0.0005)
    assert odd_run(widened(with_last(far))) == count - 1
    assert odd_run(widened(with_last(near))) is None


def test_the_run_of_ten_seconds_beside_two_of_four_is_pointed_to() -> None:
    assert odd_run([9.9, 4.1, 4.3]) == 0
    assert odd_run([4.1, 4.3]) is None
    assert odd_run([4.0, 4.001, 4.3]) is None, "less than a quarter off: boats do that"
    assert odd_run([2, 2, 3], step=1.0) is None
    assert odd_run([2, 2, 9], step=1.0) == 2


# JCGM 100:2008, F.2.2.1: u = 0.29 of the step
def test_a_step_has_the_sd_of_a_rectangle() -> None:
    assert step_sd(1.0) == pytest.approx(0.29, abs=0.002)


@pytest.mark.parametrize(
    ("values", "cut", "is_floor"),
    [
        ([600, 700, 1000], [False, False, True], False),
        ([600, 1000, 1000], [False, True, True], True),
        ([300, 700, 800], [True, False, False], True),
        ([600, 700, 800, 1000], [False, False, False, True], False),
        ([600, 700, 1000, 1000], [False, False, False, True], False),
        ([600, 700, 1000, 1000], [False, False, True, True], True),
        ([500], [True], True),
    ],
)  # fmt: skip
def test_a_median_is_a_floor_only_if_a_run_before_it_or_in_it_was_cut_short(
    values: list[float], cut: list[bool], is_floor: bool
) -> None:
    assert median_is_floor(values, cut) == is_floor
