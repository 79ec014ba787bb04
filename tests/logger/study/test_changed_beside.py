"""What else changed, foreseen or not."""

from __future__ import annotations

import pytest

from logger.study.changed_beside import of_order, order_of, others, went_along
from logger.study.conclusion import conclude, in_short
from logger.study.experiment import Experiment, experiment_of, running_order
from tests.logger.study.test_experiment import PLAN, row

ONE_BOAT = experiment_of(PLAN | {"boats": []}, file="p")


def in_order(plan: Experiment, **changes: str) -> list[dict[str, str]]:
    """One run of each turn as drawn, 2 mm more for each gram."""
    return [
        row("Coot", float(turn.level), 300 + 2 * float(turn.level) + turn.round, order_index=str(turn.number)) | changes
        for turn in running_order(plan)
    ]


def test_an_experiment_as_planned_is_not_warned_of() -> None:
    found = conclude(ONE_BOAT, in_order(ONE_BOAT))
    assert found.warnings == ()
    assert found.with_it == ()
    assert found.sentence.startswith("With more mass the drift grew: by 200.0")


@pytest.mark.parametrize(
    ("name", "settings", "said"),
    [("boat", ("Coot", "Teal", "Rook"), "boat"), ("fan_setting", ("1", "2", "3"), "fan setting"),
     ("fan_distance_mm", ("300.0", "400.0", "500.0"), "fan distance"), ("power", ("fan", "hand", "straw"), "power"),
     ("blowers_count", ("1", "2", "3"), "blowers"), ("wind_direction_deg", ("0.0", "20.0", "40.0"), "wind direction"),
     ("water_depth_mm", ("90.0", "80.0", "70.0"), "water depth"), ("version", ("1", "2", "3"), "version")],
)  # fmt: skip
def test_what_went_along_with_the_mass_is_told_and_forbids_the_conclusion(
    name: str, settings: tuple[str, ...], said: str
) -> None:
    """None of them is in the plan's list of what is held equal but the power and the depth."""
    rows = in_order(ONE_BOAT)
    for one in rows:
        one[name] = settings[int(float(one["mass_g"]) / 50) - 1]
    found = conclude(ONE_BOAT, rows)
    told = "The plan is for one boat; the runs are of 3" if name == "boat" else f"Something else changed too: {said} ("
    assert any(one.startswith(told) for one in found.warnings)
    assert found.with_it == (said,)
    assert not found.is_clear
    assert f"but with it changed too: {said}. Which of them did it, these runs do not tell." in found.sentence
    assert "±" not in found.sentence
    assert in_short(ONE_BOAT, found) == f"More things changed: mass, {said}. Our runs do not tell which one it was."


def test_what_changed_but_met_all_masses_alike_is_only_told() -> None:
    rows = in_order(ONE_BOAT)
    for one, turn in zip(rows, running_order(ONE_BOAT), strict=True):
        one["fan_setting"] = str(turn.round)
    found = conclude(ONE_BOAT, rows)
    assert "Something else changed too: fan setting (1, 2, 3)." in found.warnings
    assert found.is_clear


def test_a_size_measured_again_has_not_changed() -> None:
    rows = in_order(ONE_BOAT)
    for at, one in enumerate(rows):
        one["fan_distance_mm"] = f"{400 + at % 3:.1f}"
    assert others(ONE_BOAT, rows) == []


def test_what_goes_with_the_thing_by_nature_is_no_other_thing() -> None:
    rows = in_order(ONE_BOAT)
    for one in rows:
        one["cargo_g"] = one["mass_g"]
    assert others(ONE_BOAT, rows) == []
    which = experiment_of(PLAN | {"changed": {"name": "boat", "choices": ["Coot", "Teal"]}, "boats": []}, file="p")
    runs = [row(boat, mass, far) for boat, mass in (("Coot", 50), ("Teal", 90)) for far in (400, 410)]
    assert others(which, runs) == []
    runs[1]["mass_g"] = "70.00"
    assert [one.name for one in others(which, runs)] == ["mass_g"]


def test_runs_in_order_of_mass_are_warned_of_and_may_be_the_lesson_that_went_on() -> None:
    """Each run 3 mm farther than the one before, and nothing by the mass."""
    masses = [50] * 3 + [100] * 3 + [150] * 3
    rows = [
        row("Coot", mass, 400 + 3 * at + (-1) ** at, order_index=str(at + 1)) for at, mass in enumerate(masses)
    ]  # fmt: skip
    found = conclude(ONE_BOAT, rows)
    assert any(one.startswith("The runs were made in order of what was changed (mass).") for one in found.warnings)
    assert "The runs were not made in the order that was drawn." in found.warnings
    assert found.with_it == ("the place in the order",)
    assert "±" not in found.sentence


def test_the_order_is_that_of_the_clock_and_a_run_made_again_does_not_break_it() -> None:
    rows = in_order(ONE_BOAT)
    moments = [f"2026-05-04T10:{at:02d}:00+02:00" for at in range(len(rows))]
    for one, moment in zip(rows, moments, strict=True):
        one["recorded_at"] = moment
    assert order_of(list(reversed(rows))) == list(range(9, 0, -1))
    assert of_order(ONE_BOAT, list(reversed(rows))) == []
    assert of_order(ONE_BOAT, rows[:4] + rows[5:]) == []
    rows[0]["recorded_at"], rows[8]["recorded_at"] = rows[8]["recorded_at"], rows[0]["recorded_at"]
    changed = [t.level for t in running_order(ONE_BOAT)]
    assert (of_order(ONE_BOAT, rows) == []) == (changed[0] == changed[8])


def test_nothing_went_along_where_nothing_else_changed() -> None:
    rows = in_order(ONE_BOAT)
    assert went_along(ONE_BOAT, rows, others(ONE_BOAT, rows), lambda _alike, _number: False) == []
