"""The front door: one recording, many recordings, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.recording.folder import load
from logger.simulator import DEVELOPMENT_SEED, JUDGING_SEED, simulate, simulate_many

SMALL = {"tank_length_mm": 900.0, "length_mm": 100.0, "speed_mm_per_s": 400.0, "frame_rate_hz": 2.0}


def test_many_recordings_are_drift_and_straight_in_turn_each_with_its_own_seed(tmp_path: Path) -> None:
    made = simulate_many(tmp_path, count=2, first_seed=40, **SMALL)
    facts = [json.loads((folder / "truth.json").read_text()) for folder in made]
    assert [(fact["kind"], fact["seed"]) for fact in facts] == [("drift", 40), ("straight", 41)]


@pytest.mark.parametrize("tier", ["easy", "realistic", "hard"])
def test_every_tier_is_a_recording_without_any_doubt(tier: str, tmp_path: Path) -> None:
    simulate(tmp_path / "run", tier=tier, seed=8, **SMALL)  # type: ignore[arg-type]
    recording = load(tmp_path / "run")
    assert recording.doubts == ()
    assert recording.stamps is not None
    assert sum(1 for _ in recording.frames()) == len(recording.stamps.t_ns)


def test_seeds_for_judging_are_far_from_those_for_development() -> None:
    assert JUDGING_SEED - DEVELOPMENT_SEED > 100_000


def test_a_full_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "something").write_text("here")
    with pytest.raises(InputError, match="wanted a new or empty folder"):
        simulate(tmp_path, seed=5)


def test_an_unknown_option_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="found the option colour; wanted one of"):
        simulate(tmp_path / "x", seed=5, colour="red")
