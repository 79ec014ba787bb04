from __future__ import annotations

import json
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.recording.folder import load
from logger.results.measure import measure
from logger.simulator.live import SimulatedTank
from logger.study.gather import known, run_of


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("gather") / "run"
    SimulatedTank(kind="straight", seed=1003, frame_rate_hz=12.0).write(made)
    return made


def test_the_drawn_curve_passes_the_lines_where_the_truth_does(folder: Path) -> None:
    recording = load(folder)
    run = run_of(recording, measure(recording))
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    series = run.series
    assert series is not None
    assert series.zero == "the bow reached the start line"
    for crossing, line in zip(truth["crossings"], truth["lines"], strict=True):
        at_s = (crossing["t_ns"] - run.zero_ns) / 1e9
        assert series.at(at_s, series.along_m) == pytest.approx(line["place_mm"] / 1000, abs=0.004)
        assert series.at(at_s, series.speed_m_per_s) == pytest.approx(crossing["speed_mm_per_s"] / 1000, abs=0.02)
    assert -1.5 <= series.t_s[0] < series.t_s[-1] <= truth["crossings"][1]["t_ns"] / 1e9 - run.zero_ns / 1e9 + 0.6
    assert (series.u_along_m > 0).all()
    assert (series.u_speed_m_per_s > 0).all()


def test_the_truth_of_a_simulated_run_is_shown_beside_its_results(folder: Path) -> None:
    recording = load(folder)
    run = run_of(recording, measure(recording))
    assert set(run.truth) >= {"time_s", "path_mm", "speed_at_line_m_per_s"}
    time = run.trial.results["time_s"].quantity
    assert run.truth["time_s"] == pytest.approx(time.value, abs=2 * time.U)


def test_known_values_carry_the_names_and_units_of_results() -> None:
    truth = {
        "drift_mm": 512.0, "go_ns": 0,
        "crossings": [{"t_ns": 10**9, "speed_mm_per_s": 1.0}, {"t_ns": 3 * 10**9, "speed_mm_per_s": 250.0}],
    }  # fmt: skip
    assert known(truth) == {"drift_mm": 512.0, "time_s": 2.0, "time_from_go_s": 3.0, "speed_at_line_m_per_s": 0.25}


def test_a_truth_that_is_none_is_refused(folder: Path, tmp_path: Path) -> None:
    import shutil

    copy = Path(shutil.copytree(folder, tmp_path / "copy"))
    (copy / "truth.json").write_text('{"format": "boatrun-truth/9"}', encoding="utf-8")
    recording = load(copy)
    outcome = measure(recording)
    with pytest.raises(InputError, match=r"truth\.json: format 'boatrun-truth/9'; wanted boatrun-truth/1"):
        run_of(recording, outcome)
