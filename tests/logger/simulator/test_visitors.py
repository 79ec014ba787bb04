"""Hands, straws and rings."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.hull import area_and_centroid
from logger.simulator.scene import draw
from logger.simulator.visitors import Blower, Ring, capsule
from logger.simulator.wishes import Wishes


def test_a_capsule_has_the_area_of_a_bar_and_two_half_discs() -> None:
    area, centroid = area_and_centroid(capsule(np.array([0.0, 0.0]), np.array([100.0, 0.0]), 10.0, 10.0))
    assert area == pytest.approx(100 * 20 + np.pi * 100, rel=0.01)
    np.testing.assert_allclose(centroid, (50.0, 0.0), atol=1e-9)


def visitors_of(kind: type) -> list[tuple[object, object]]:
    scenes = [draw(tier="hard", kind="drift", seed=seed, asked=Wishes()) for seed in range(12)]
    return [(scene, visitor) for scene in scenes for visitor in scene.visitors if isinstance(visitor, kind)]


def test_a_straw_follows_behind_the_stern_and_is_gone_after_the_mark() -> None:
    found = visitors_of(Blower)
    assert found
    for scene, blower in found:
        halfway = (scene.voyage.go_s + blower.until_s) / 2  # type: ignore[attr-defined]
        straw = blower.patches(halfway)[0]  # type: ignore[attr-defined]
        x, y, heading = scene.voyage.pose([halfway])[0]  # type: ignore[attr-defined]
        ahead = (straw.outline_mm - (x, y)) @ [np.cos(heading), np.sin(heading)]
        assert ahead.max() < -blower.stern_mm  # type: ignore[attr-defined]
        assert blower.patches(blower.until_s + 2.0) == []  # type: ignore[attr-defined]


def test_rings_keep_clear_of_the_boats_way() -> None:
    found = visitors_of(Ring)
    assert found
    for scene, ring in found:
        patch = ring.patches(3.0)[0]  # type: ignore[attr-defined]
        way = scene.voyage.pose(np.linspace(0, scene.ended_s, 100))[:, :2]  # type: ignore[attr-defined]
        middle = patch.outline_mm.mean(axis=0)
        reach = np.hypot(*scene.hull.outline_mm.T).max()  # type: ignore[attr-defined]
        assert np.hypot(*(way - middle).T).min() > reach + ring.outer_mm  # type: ignore[attr-defined]
        assert patch.hole_mm is not None
