"""Sentences that say no more than the runs do."""

from __future__ import annotations

import numpy as np

from logger.study.conclusion import conclude, in_short
from logger.study.experiment import experiment_of, running_order
from tests.logger.study.test_experiment import PLAN, row


def rows_of(slope: float, *, spread: float, boats: dict[str, float], seed: int = 2) -> list[dict[str, str]]:
    """Three runs of each boat at each mass, in the order that the plan draws."""
    rng = np.random.default_rng(seed)
    turns = running_order(experiment_of(PLAN, file="p"))
    return [
        row(turn.boat, mass, boats[turn.boat] + slope * mass + rng.normal(0, spread), order_index=str(turn.number))
        for turn in turns
        for mass in (float(turn.level),)
    ]


def test_an_effect_is_said_with_its_doubt_its_range_and_its_limits() -> None:
    plan = experiment_of(PLAN, file="p")
    found = conclude(plan, rows_of(2.0, spread=20, boats={"Coot": 100.0, "Teal": 700.0}))
    assert found.sentence.startswith("With more mass the drift grew: by ")
    assert "for 100\u00a0g more, between 50 and 150\u00a0g" in found.sentence
    assert "These 18" not in found.sentence
    assert "what these 18 runs (each boat compared with itself) say" in found.sentence
    assert found.line is not None
    assert abs(found.line.slope - 2.0) < 2 * found.line.U_slope
    assert found.warnings == ()


def test_boats_that_differ_by_more_than_the_effect_do_not_hide_it() -> None:
    """With 600 mm between the boats; and so it is where the plan did not foresee that there are two."""
    rows = rows_of(1.0, spread=15, boats={"Coot": 100.0, "Teal": 700.0})
    assert "grew" in conclude(experiment_of(PLAN, file="p"), rows).sentence
    blind = experiment_of(PLAN | {"boats": []}, file="p")
    found = conclude(blind, rows)
    assert "(each boat compared with itself)" in found.sentence
    assert "The plan is for one boat; the runs are of 2: Coot, Teal." in found.warnings


def test_runs_without_any_scatter_are_told_no_finer_than_they_are_written() -> None:
    rows = [row("Coot", mass, 240 * (1 + 0.012 * mass)) for mass in (100, 50, 150)]
    told = conclude(experiment_of(PLAN | {"boats": []}, file="p"), rows).sentence
    assert "by 288.00 ± 0.01\u00a0mm for 100\u00a0g more" in told


def test_no_effect_is_not_called_proof_of_none() -> None:
    plan = experiment_of(PLAN, file="p")
    told = conclude(plan, rows_of(0.0, spread=60, boats={"Coot": 400.0, "Teal": 420.0})).sentence
    assert told.startswith(
        "These 18 runs (each boat compared with itself) do not show that mass changes the drift: for 100\u00a0g more it"
    )
    assert "\u2212" in told


def test_words_are_compared_as_groups() -> None:
    plan = experiment_of(
        PLAN | {"changed": {"name": "power", "choices": ["fan", "straw"]}, "boats": [], "held_equal": []}, file="p"
    )
    rng = np.random.default_rng(1)
    rows = [row("Coot", 50, level + rng.normal(0, 10), power=power)
            for _ in range(4) for power, level in (("fan", 500), ("straw", 300))]  # fmt: skip
    told = conclude(plan, rows).sentence
    assert told.startswith(
        "The drift differs with the power by more than chance explains: more with fan than with straw. That"
    )
    even = [row("Coot", 50, 400 + rng.normal(0, 50), power=power) for power in ("fan", "straw") for _ in range(4)]
    assert conclude(plan, even).sentence == "These 8 runs do not show that the power changes the drift."


def test_too_few_runs_say_so() -> None:
    plan = experiment_of(PLAN, file="p")
    assert "too few runs" in conclude(plan, [row("Coot", 50, 400)]).sentence


def test_where_a_wall_cut_runs_short_only_the_way_is_said() -> None:
    """5 mm for each gram, wall at 1000 mm: a line through what the wall left would say 3.8."""
    plan = experiment_of(PLAN | {"boats": [], "repeats": 5}, file="p")
    rng, rows = np.random.default_rng(4), []
    for turn in running_order(plan):
        far = (400 + 5 * float(turn.level)) * (1 + 0.1 * rng.normal())
        cut = {"drift_at_least": "true"} if far >= 1000 else {}
        rows.append(row("Coot", float(turn.level), min(far, 1000), order_index=str(turn.number), **cut))
    lost = sum(one["drift_at_least"] == "true" for one in rows)
    found = conclude(plan, rows)
    assert found.line is None
    assert found.is_clear
    assert found.sentence == (
        f"With more mass the drift grew in these 15 runs. By how much is not to be told. {lost} of 15 runs were "
        "cut short, by the wall or the time. Make the way longer, or start slower."
    )
    assert in_short(plan, found) == "More mass: more drift. So it was in our 15 runs."
    flat = [one | {"drift_mm": "1000.00", "drift_at_least": "true"} for one in rows]
    assert conclude(plan, flat).sentence.startswith("Whether mass changes the drift is not to be told. 15 of 15 runs")


def test_what_boats_are_made_of_is_judged_by_boats() -> None:
    """Three boats of each, three runs each; boats differ by more than the materials do."""
    plan = experiment_of(
        PLAN | {"changed": {"name": "material", "choices": ["foil", "clay"]}, "boats": [], "held_equal": []}, file="p"
    )
    far = {"A": 300, "B": 400, "C": 500, "D": 420, "E": 520, "F": 480}
    rows = [
        row(boat, 50, far[boat] + wobble, material="foil" if boat in "ABC" else "clay")
        for wobble in (-3, 0, 3) for boat in "ADBECF"
    ]  # fmt: skip
    assert conclude(plan, rows).sentence == (
        "These 6 boats (each counted once) do not show that the material changes the drift."
    )
