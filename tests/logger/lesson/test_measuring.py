from __future__ import annotations

import threading
from pathlib import Path

import pytest

from logger.lesson.measuring import Measuring, first_trial, measured
from logger.results.store import Store
from logger.results.trial import Trial
from logger.simulator.live import SimulatedTank
from tests.logger.lesson.lessons import AT
from tests.logger.lesson.practice import TANK


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tank") / "r1"
    SimulatedTank(kind="straight", seed=5, rig_errors=False, **TANK).write(folder)
    return folder


def test_first_figures_are_those_of_the_gates_and_agree_with_the_last_ones(recording: Path, tmp_path: Path) -> None:
    first = first_trial(recording)
    assert first.results["time_s"].witness == "gate"
    assert "path_mm" not in first.results
    text, why = measured(recording, tmp_path / "trials.sqlite", AT)
    assert (bool(text), why) == (True, "")
    with Store(tmp_path / "trials.sqlite", read_only=True) as store:
        last = store.runs()[0].trial
    assert (recording / "trial.json").exists()
    apart_s = abs(last.results["time_s"].quantity.value - first.results["time_s"].quantity.value)
    assert apart_s <= first.results["time_s"].quantity.U + last.results["time_s"].quantity.U


def test_the_process_tells_a_trial_or_why_there_is_none(recording: Path, tmp_path: Path) -> None:
    told: dict[str, tuple[Trial | None, str]] = {}
    both = threading.Event()

    def tell(run_id: str, trial: Trial | None, why: str) -> None:
        told[run_id] = (trial, why)
        if len(told) == 2:
            both.set()

    measuring = Measuring(tmp_path / "trials.sqlite", now=lambda: AT, told=tell)
    measuring.begin(tmp_path / "nowhere", "r9")
    measuring.begin(recording, "r1")
    assert both.wait(120)
    measuring.close()
    assert told["r9"][0] is None
    assert "there is no such recording" in told["r9"][1]
    trial = told["r1"][0]
    assert trial is not None
    assert "path_mm" in trial.results
