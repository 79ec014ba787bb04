"""What counts as one case."""

from __future__ import annotations

import numpy as np
import pytest

from logger.study.trend import Measured, one_of_each, trend, whose


def boats_of(lot: np.random.Generator, *, effect: float = 0.0) -> list[Measured]:
    """Six boats, three runs each: boats differ by 20 %, runs of a boat by 8 %."""
    masses, own = lot.uniform(40, 160, 6), 1000 * (1 + 0.20 * lot.normal(size=6))
    return [
        Measured(mass, (far + effect * mass) * (1 + 0.08 * lot.normal()), f"boat {at}")
        for at, (mass, far) in enumerate(zip(masses, own, strict=True)) for _ in range(3)
    ]  # fmt: skip


def test_repeats_of_a_boat_are_no_cases_of_their_own() -> None:
    """With runs for cases the same 1000 sets are called clear in more than one of five."""
    lot, called, naive = np.random.default_rng(7), 0, 0
    for _ in range(1000):
        runs = boats_of(lot)
        called += trend(runs).sign != 0
        naive += trend([Measured(run.along, run.value, "one") for run in runs]).sign != 0
    assert 0.03 < called / 1000 < 0.07
    assert naive / 1000 > 0.2


def test_several_boats_at_places_of_their_own_are_each_one_case() -> None:
    found = trend(boats_of(np.random.default_rng(1), effect=30.0))
    assert (found.through, found.boats_count, found.runs_count) == ("boats", 6, 18)
    assert found.line is not None
    assert (found.line.count, found.line.dof) == (6, 4)
    assert found.sign == 1
    assert whose(found) == "these 6 boats (each counted once)"


def test_runs_of_one_boat_are_cases_and_boats_that_ran_everywhere_are_compared_with_themselves() -> None:
    one = [Measured(x, 2 * x + wobble, "A") for x in (1.0, 2.0, 3.0) for wobble in (0.1, -0.1)]
    assert (trend(one).through, whose(trend(one))) == ("runs", "these 6 runs")
    two = [*one, *(Measured(run.along, run.value + 500, "B") for run in one)]
    found = trend(two)
    assert (found.through, whose(found)) == ("each", "these 12 runs (each boat compared with itself)")
    assert found.line is not None
    assert found.line.slope == pytest.approx(2.0)
    assert found.line.dof == 12 - 2 - 1


def test_with_a_run_cut_short_the_way_is_told_and_no_line() -> None:
    runs = [Measured(x, min(400 + 5 * x + wobble, 1000), "A", 400 + 5 * x + wobble >= 1000)
            for x in (50.0, 100.0, 150.0) for wobble in (-40.0, -10.0, 0.0, 30.0)]  # fmt: skip
    found = trend(runs)
    assert found.floors_count == 4
    assert found.line is None
    assert found.sign == 1
    assert not trend(runs[:2]).is_told


def test_a_mean_with_a_floor_in_it_is_a_floor() -> None:
    (one,) = one_of_each([Measured(1.0, 400.0, "A"), Measured(3.0, 600.0, "A", at_least=True)])
    assert (one.along, one.value, one.at_least) == (2.0, 500.0, True)


def test_what_went_along_entirely_leaves_nothing_to_tell() -> None:
    runs = [Measured(x, x + wobble, "A") for x in (1.0, 2.0, 3.0) for wobble in (0.1, -0.1)]
    assert trend(runs).sign == 1
    assert trend(runs, alike=[str(run.along) for run in runs]).sign == 0
    assert trend(runs, beside=[7 * run.along for run in runs]).sign == 0
    assert trend(runs, alike=["a", "b"] * 3).sign == 1
    assert trend(runs, beside=[1.0, 2.0] * 3).sign == 1
