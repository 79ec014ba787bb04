"""Budgets against the whole measuring of drawn runs; and the draws themselves against what is known in closed form."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from logger.config import CameraSetup
from logger.results.measure import conclude
from logger.results.monte_carlo import Drawn, compared, monte_carlo


def drawn(shop: Any, rig: Any, recording: Any, track: Any, *, count: int = 120) -> dict[str, Drawn]:
    trial = conclude(recording, rig, track).trial
    return monte_carlo(recording, rig, track, trial=trial, count=count, seed=4)


def test_two_gates_and_a_tape_are_as_the_closed_form_says(shop: Any) -> None:
    """Time: two stamps of 2 ms each, 2\u00b7\u221a2 ms; mean speed: the tape's 12 mm of 1200 beside it, 1 %."""
    rig = shop.rig(gate_distance_mm=1200.0, u_gate_distance_mm=12.0)
    rig = _with_stamps(rig, 0.002)
    edges = [*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (8.0, 9.0))]
    recording = shop.recording(rig, edges=edges, events=[(1.0, "armed"), (1.5, "go")])
    found = drawn(shop, rig, recording, None, count=400)
    speed = found["speed_mean_m_per_s"]
    assert speed.u == pytest.approx(0.2 * np.hypot(0.01, np.sqrt(2) * 0.002 / 6), rel=0.1)
    assert speed.u == pytest.approx(speed.budget_u, rel=0.1)
    assert (speed.high - speed.low) / 2 == pytest.approx(1.96 * speed.u, rel=0.15)
    assert speed.draws_count == 400
    assert compared(found) == []


def _with_stamps(rig: Any, u_s: float) -> Any:
    from dataclasses import replace

    return replace(rig, gates=tuple(replace(gate, u_stamp_s=u_s, u_offset_mm=0.0) for gate in rig.gates))


def test_a_camera_run_agrees_with_its_budget(shop: Any, coasting: Any) -> None:
    rig = shop.rig(gates=False, last="mark", camera=CameraSetup(None, "camera.toml", u_delay_s=0.002))
    shift = {"freeboard": np.tile([0.8, 0.0], (390, 1))}
    track = shop.track(
        lambda t: coasting(t, cut_s=5.0, speed=300.0, rate=1.0, at_mm=1100.0), until_s=13.0, shifts_mm=shift
    )
    found = drawn(shop, rig, shop.recording(rig, kind="drift"), track, count=60)
    for name in ("drift_mm", "path_mm", "time_s"):
        known = found[name].budget_u * np.sqrt(1 - found[name].never_drawn_share)
        assert found[name].u == pytest.approx(known, rel=0.3), name
    assert "drift_mm" not in compared(found)


def test_same_seed_same_digits(shop: Any) -> None:
    rig = shop.rig(gate_distance_mm=1200.0)
    recording = shop.recording(rig, edges=[*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (8.0, 9.0))])
    assert drawn(shop, rig, recording, None, count=60) == drawn(shop, rig, recording, None, count=60)


def test_a_budget_that_is_far_too_small_is_named() -> None:
    honest = Drawn("s", 1.0, 0.1, 0.8, 1.2, 200, 0.1, 0.0)
    small = Drawn("s", 1.0, 0.1, 0.8, 1.2, 200, 0.03, 0.0)
    wide = Drawn("s", 1.0, 0.1, 0.8, 1.2, 200, 0.5, 0.96)
    assert compared({"a": honest, "b": small, "c": wide}) == ["b"]


def test_a_beam_that_bounces_does_so_in_every_draw(shop: Any) -> None:
    """Breaks 0.2 ms apart, stamps known to 1 ms: were they put in another order, the passage would be another one."""
    rig = _with_stamps(shop.rig(gate_distance_mm=1200.0), 0.001)
    edges = [*shop.edges("A", (2.0, 2.0002), (2.0004, 3.0)), *shop.edges("B", (8.0, 9.0))]
    found = drawn(shop, rig, shop.recording(rig, edges=edges), None)
    assert found["time_s"].draws_count == 120
    assert found["time_s"].u == pytest.approx(found["time_s"].budget_u, rel=0.35)
