"""Runs without pictures: fixes, edges and rig with the errors they state."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from logger.simulator import TrackerDoubt, simulate_run

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
