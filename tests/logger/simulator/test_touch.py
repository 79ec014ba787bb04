"""Straws and fingers that touch a boat on its way."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator import simulate_run
from logger.simulator.scene import Scene, draw
from logger.simulator.touch import Touch
from logger.simulator.wishes import wishes


def a_run(seed: int, kind: str = "drift", tier: str = "realistic") -> tuple[Scene, Touch]:
    scene = draw(tier=tier, kind=kind, seed=seed, asked=wishes({"touch": True, "wall_contact": False}))  # type: ignore[arg-type]
    return scene, next(visitor for visitor in scene.visitors if isinstance(visitor, Touch))


@pytest.mark.parametrize("kind", ["drift", "straight"])
@pytest.mark.parametrize("seed", range(12))
def test_a_touch_changes_the_speed_and_nothing_before_it(seed: int, kind: str) -> None:
    scene, touch = a_run(seed, kind)
    alone = draw(tier="realistic", kind=kind, seed=seed, asked=wishes({"wall_contact": False}))
    assert scene.voyage.go_s < touch.from_s < touch.to_s < scene.ended_s
    before = np.linspace(0.0, touch.from_s, 30)
    np.testing.assert_allclose(scene.voyage.pose(before), alone.voyage.pose(before), atol=1e-5)
    with_it, without = scene.voyage.speed([touch.to_s])[0], alone.voyage.speed([touch.to_s])[0]
    # water takes a part of the push while it lasts, the more the faster the boat is
    assert 0.5 < (with_it - without) / touch.push.gives_mm_per_s < 1.01


@pytest.mark.parametrize("seed", range(12))
def test_the_tip_is_at_the_hull_as_long_as_it_pushes_and_away_before_and_after(seed: int) -> None:
    scene, touch = a_run(seed)
    for t in np.linspace(touch.from_s, touch.to_s, 5):
        x, y, heading = scene.voyage.pose([t])[0]
        off = touch.tip_mm(float(t)) - (x, y)
        ends = scene.hull.outline_mm[:, 0]
        along = off @ [np.cos(heading), np.sin(heading)]
        assert along == pytest.approx(ends.max() if touch.push.gives_mm_per_s < 0 else ends.min(), abs=1e-9)
    for t in (touch.from_s - 0.3, touch.to_s + 0.3):
        outline = np.vstack([patch.outline_mm for patch in touch.patches(t)])
        pose = scene.voyage.pose([t])[0]
        gap = np.hypot(*(outline - pose[:2]).T).min() - np.hypot(*scene.hull.outline_mm.T).max()
        assert gap > -30
    assert touch.patches(touch.from_s - 2.0) == touch.patches(touch.to_s + 2.0) == []


def test_straws_and_fingers_push_on_and_slow_down() -> None:
    touches = [a_run(seed)[1] for seed in range(30)]
    assert {touch.by for touch in touches} == {"straw", "finger"}
    assert {touch.push.gives_mm_per_s > 0 for touch in touches} == {True, False}


def test_the_truth_tells_every_touch_and_the_hand_lets_go_at_go() -> None:
    run = simulate_run(seed=7, tier="realistic", touch=True)
    hand, push = run.truth["touches"]
    assert (hand["by"], hand["to_ns"]) == ("hand", run.truth["go_ns"])
    assert hand["from_ns"] <= run.truth["armed_ns"]
    assert run.truth["go_ns"] < push["from_ns"] < push["to_ns"] < run.truth["ended_ns"]
    assert abs(push["speed_change_mm_per_s"]) > 5
    assert simulate_run(seed=7, tier="easy").truth["touches"] == []


def test_nobody_touches_a_boat_on_its_way_unless_asked() -> None:
    for seed in range(20):
        scene = draw(tier="hard", kind="drift", seed=seed, asked=wishes({}))
        assert scene.voyage.push is None
        assert not any(isinstance(visitor, Touch) for visitor in scene.visitors)
