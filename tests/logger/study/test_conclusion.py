"""Sentences that say no more than the runs do."""

from __future__ import annotations

import numpy as np

from logger.study.conclusion import conclude
from logger.study.experiment import experiment_of
from tests.logger.study.test_experiment import PLAN, row


def rows_of(slope: float, *, spread: float, boats: dict[str, float], seed: int = 2) -> list[dict[str, str]]:
    rng = np.random.default_rng(seed)
    return [
        row(boat, mass, own + slope * mass + rng.normal(0, spread))
        for boat, own in boats.items()
        for mass in (50, 100, 150)
        for _ in range(3)
    ]


def test_an_effect_is_said_with_its_doubt_its_range_and_its_limits() -> None:
    plan = experiment_of(PLAN, file="p")
    found = conclude(plan, rows_of(2.0, spread=20, boats={"Coot": 100.0, "Teal": 700.0}))
    assert found.sentence.startswith("With more mass the drift grew: by ")
    assert "for 100\u00a0g more, between 50 and 150\u00a0g" in found.sentence
    assert "These 18" not in found.sentence
    assert "what these 18 runs say" in found.sentence
    assert found.line is not None
    assert abs(found.line.slope - 2.0) < 2 * found.line.U_slope
    assert found.warnings == ()


def test_boats_that_differ_by_more_than_the_effect_do_not_hide_it() -> None:
    """Alone, with 600 mm between the boats, the same runs would show nothing."""
    rows = rows_of(1.0, spread=15, boats={"Coot": 100.0, "Teal": 700.0})
    assert "grew" in conclude(experiment_of(PLAN, file="p"), rows).sentence
    blind = experiment_of(PLAN | {"boats": []}, file="p")
    assert "do not show" in conclude(blind, rows).sentence


def test_runs_without_any_scatter_are_told_no_finer_than_they_are_written() -> None:
    rows = [row("Coot", mass, 240 * (1 + 0.012 * mass)) for mass in (50, 100, 150)]
    told = conclude(experiment_of(PLAN | {"boats": []}, file="p"), rows).sentence
    assert "by 288.00 ± 0.01\u00a0mm for 100\u00a0g more" in told


def test_no_effect_is_not_called_proof_of_none() -> None:
    plan = experiment_of(PLAN, file="p")
    told = conclude(plan, rows_of(0.0, spread=60, boats={"Coot": 400.0, "Teal": 420.0})).sentence
    assert told.startswith("These 18 runs do not show that mass changes the drift: for 100\u00a0g more it could be")
    assert "\u2212" in told


def test_words_are_compared_as_groups() -> None:
    plan = experiment_of(
        PLAN | {"changed": {"name": "power", "choices": ["fan", "straw"]}, "boats": [], "held_equal": []}, file="p"
    )
    rng = np.random.default_rng(1)
    rows = [row("Coot", 50, level + rng.normal(0, 10), power=power)
            for power, level in (("fan", 500), ("straw", 300)) for _ in range(4)]  # fmt: skip
    told = conclude(plan, rows).sentence
    assert told.startswith(
        "The drift differs with the power by more than chance explains: most with fan, least with straw"
    )
    even = [row("Coot", 50, 400 + rng.normal(0, 50), power=power) for power in ("fan", "straw") for _ in range(4)]
    assert conclude(plan, even).sentence == "These 8 runs do not show that the power changes the drift."


def test_too_few_runs_say_so() -> None:
    plan = experiment_of(PLAN, file="p")
    assert "too few runs" in conclude(plan, [row("Coot", 50, 400)]).sentence
