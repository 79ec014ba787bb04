from __future__ import annotations

from collections import Counter

import pytest

from logger.errors import ConfigError
from logger.study.experiment import cells, experiment_of, running_order, warnings

PLAN = {
    "format": "boatrun-experiment/1", "question": "Does a heavier boat drift farther?", "kind": "drift",
    "result": "drift_mm", "changed": {"name": "mass_g", "levels": [50, 100, 150]}, "boats": ["Coot", "Teal"],
    "held_equal": ["power", "water_depth_mm"], "repeats": 3,
}  # fmt: skip


def row(boat: str, mass_g: float, drift_mm: float, **changes: str) -> dict[str, str]:
    told = {
        "run_id": f"{boat}-{mass_g}-{drift_mm}", "boat": boat, "kind": "drift", "counted": "true", "status": "valid",
        "mass_g": f"{mass_g:.2f}", "drift_mm": f"{drift_mm:.2f}", "drift_at_least": "false", "power": "fan",
        "water_depth_mm": "90.0",
    }  # fmt: skip
    return told | changes


def test_every_round_has_every_boat_at_every_level_once_by_lot() -> None:
    plan = experiment_of(PLAN, file="plan.toml")
    turns = running_order(plan)
    assert [turn.number for turn in turns] == list(range(1, 19))
    for number in (1, 2, 3):
        own = [(turn.boat, turn.level) for turn in turns if turn.round == number]
        assert len(set(own)) == len(own) == 6
    assert turns == running_order(plan)
    other = running_order(experiment_of(PLAN | {"seed": 2}, file="plan.toml"))
    assert other != turns


def test_over_many_lots_no_level_comes_first_more_often() -> None:
    """Of 600 lots each of six cells comes first in about 100 (binomial: 73 to 127 in all but one of 300)."""
    first = Counter(
        (turn.boat, turn.level)
        for seed in range(600)
        for turn in running_order(experiment_of(PLAN | {"seed": seed, "repeats": 1}, file="p"))[:1]
    )
    assert len(first) == 6
    assert all(70 < count < 130 for count in first.values())


def test_runs_find_their_cells_and_a_mass_near_a_level_is_that_level() -> None:
    plan = experiment_of(PLAN, file="plan.toml")
    found = cells(plan, [row("Coot", 52.0, 400), row("Coot", 98.0, 450), row("Teal", 150.0, 500), row("Coot", 75.0, 1)])
    values = {(cell.boat, cell.level): cell.values for cell in found}
    assert values["Coot", "50"] == (400.0,)
    assert values["Coot", "100"] == (450.0,)
    assert values["Teal", "150"] == (500.0,)
    assert values["Teal", "50"] == ()


def test_what_stands_against_a_conclusion_is_said() -> None:
    plan = experiment_of(PLAN | {"repeats": 1}, file="plan.toml")
    rows = [row(boat, mass, 400) for boat in ("Coot", "Teal") for mass in (50, 100, 150)]
    assert warnings(plan, rows) == []
    rows[0] |= {"power": "balloon"}
    rows[1] |= {"status": "did_not_finish", "counted": "false"}
    rows[2] |= {"drift_at_least": "true"}
    rows += [row("Teal", 75.0, 300), row("Rook", 50.0, 1)]
    told = warnings(plan, rows)
    assert "1 run did not finish: not in the figures." in told
    assert "1 run was cut short, by the wall or the time: at least so far." in told
    assert "Coot, mass 100\u00a0g: 0 of 1 runs." in told
    assert any(one.startswith("Left out, at no level of the plan: Teal-75") for one in told)
    assert "Left out, boats that are not in the plan: Rook." in told


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"format": "x"}, "format: found 'x'"),
        ({"result": "drift"}, 'result: found .* did you mean "drift_mm"'),
        ({"changed": {"name": "masse", "levels": [1, 2]}}, "changed.name: found 'masse'"),
        ({"changed": {"name": "mass_g", "choices": ["light", "heavy"]}}, "changed: wanted levels, numbers"),
        ({"changed": {"name": "power", "levels": [1, 2]}}, "changed: wanted choices, words"),
        ({"changed": {"name": "mass_g", "levels": [50]}}, "found 1 level, wanted at least two"),
        ({"held_equal": ["mass_g"]}, "mass_g is what is changed"),
        ({"repeats": 0}, "repeats: found 0"),
        ({"qestion": "?"}, "qestion: unknown name"),
    ],
)
def test_mistakes_of_a_plan_are_told_with_their_place(change: dict[str, object], said: str) -> None:
    with pytest.raises(ConfigError, match=said):
        experiment_of(PLAN | change, file="plan.toml")
