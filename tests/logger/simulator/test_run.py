"""Runs without pictures, and the same run told record by record."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from logger.simulator import SimulatedTank, TrackerDoubt, simulate_run

SHORT = {"tank_length_mm": 900.0, "length_mm": 100.0, "speed_mm_per_s": 400.0}


def test_the_fixes_are_off_by_the_stated_noise() -> None:
    doubt = TrackerDoubt(noise_mm=0.5, u_camera_height_mm=1.0)
    run = simulate_run(seed=11, doubt=doubt, frame_rate_hz=200.0, **SHORT)
    off = run.fixes.x_mm - run.fixes.true_x_mm
    # what is left after the slowly changing biases, which are linear in the place
    rest = off - np.polyval(np.polyfit(run.fixes.true_x_mm, off, 1), run.fixes.true_x_mm)
    assert rest.std() == pytest.approx(0.5, rel=0.08)


def test_over_many_runs_the_shared_errors_are_as_large_as_stated() -> None:
    off = []
    for seed in range(150):
        run = simulate_run(seed=seed, doubt=TrackerDoubt(noise_mm=0.0), frame_rate_hz=5.0, **SHORT)
        off.append((run.fixes.x_mm[-1] - run.fixes.true_x_mm[-1]) / run.fixes.shifts_mm["freeboard"][-1, 0])
    # 150 draws of a standard normal: its spread is known to 6 %, its mean to 0.08
    assert np.std(off) == pytest.approx(1.0, abs=0.2)
    assert np.mean(off) == pytest.approx(0.0, abs=0.3)


def test_an_exact_rig_says_the_true_lines() -> None:
    run = simulate_run(seed=4, rig_errors=False, **SHORT)
    start = run.rig.line("start")
    assert start is not None
    assert start.a_mm[0] == start.b_mm[0] == 0.0
    assert run.rig.gate_distance_mm == pytest.approx(run.truth["gate_distance_mm"], abs=1e-3)


@pytest.mark.parametrize("kind", ["drift", "straight"])
def test_each_beam_is_blocked_and_then_clear(kind: str) -> None:
    run = simulate_run(seed=21, kind=kind, wall_contact=False)
    for gate in run.rig.gates:
        levels = [edge.blocked for edge in run.edges if edge.gate == gate.name]
        assert levels[0]
        assert all(a != b for a, b in pairwise(levels))


def test_a_boat_that_reaches_the_wall_says_so_and_its_drift_ends_there() -> None:
    run = simulate_run(seed=2, wall_contact=True, **{**SHORT, "speed_mm_per_s": 900.0})
    assert run.truth["end_reason"] == "wall"
    front = max(x for x, _ in run.truth["tank"]["outline_mm"])
    assert run.truth["end_bow_mm"][0] == pytest.approx(front - 5.0, abs=1e-6)


def test_a_drift_is_the_way_of_the_bow_from_the_mark_to_the_end() -> None:
    run = simulate_run(seed=3, wall_contact=False)
    mark = next(line for line in run.truth["lines"] if line["role"] == "mark")
    normal = np.radians(mark["normal_deg"])
    bow = np.array(run.truth["end_bow_mm"])
    assert run.truth["end_reason"] == "at_rest"
    assert bow @ [np.cos(normal), np.sin(normal)] - mark["place_mm"] == pytest.approx(run.truth["drift_mm"], abs=1e-9)


def test_the_live_tank_tells_the_recordings_own_bytes_and_stamps(tmp_path: Path) -> None:
    tank = SimulatedTank(seed=5, frame_rate_hz=5.0, **SHORT)
    tank.write(tmp_path / "run")
    frames = list(tank.frames())
    assert b"".join(frame.jpeg or b"" for frame in frames) == (tmp_path / "run" / "video.mjpeg").read_bytes()
    stamps = [int(row.split(",")[1]) for row in (tmp_path / "run" / "frames.csv").read_text().splitlines()[1:]]
    assert [frame.t_ns for frame in frames] == stamps


def test_the_live_tank_can_be_moved_to_any_time() -> None:
    asked = {"seed": 5, "frame_rate_hz": 5.0, **SHORT}
    there, here = SimulatedTank(**asked), SimulatedTank(begins_ns=7_000_000_000, **asked)  # type: ignore[arg-type]
    late_ns = there.begins_ns - 7_000_000_000
    assert [e.t_ns - late_ns for e in there.edges()] == [e.t_ns for e in here.edges()]
    assert [k.t_ns - late_ns for k in there.pressed()] == [k.t_ns for k in here.pressed()]
