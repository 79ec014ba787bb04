"""Cargo and paper adrift."""

from __future__ import annotations

import numpy as np

from logger.simulator.hull import area_and_centroid
from logger.simulator.scene import Scene, draw
from logger.simulator.scraps import Scrap
from logger.simulator.wishes import Wishes


def found() -> list[tuple[Scene, Scrap]]:
    scenes = [draw(tier="hard", kind="drift", seed=seed, asked=Wishes()) for seed in range(15)]
    return [(scene, thing) for scene in scenes for thing in scene.visitors if isinstance(thing, Scrap)]


def test_scraps_keep_clear_of_the_boats_way_and_in_the_water() -> None:
    pieces = found()
    assert len(pieces) > 6
    for scene, scrap in pieces:
        for t in (0.0, scene.length_s):
            outline = scrap.patches(t)[0].outline_mm
            way = scene.voyage.pose(np.linspace(0, scene.ended_s, 100))[:, :2]
            reach = np.hypot(*scene.hull.outline_mm.T).max()
            gaps = np.hypot(*(way[:, None] - outline[None]).reshape(-1, 2).T)
            assert gaps.min() > reach
        assert np.abs(outline[:, 1]).max() < scene.basin.half_width_mm + 100


def test_a_scrap_drifts_and_turns_without_changing_its_size() -> None:
    _, scrap = found()[0]
    first, later = (scrap.patches(t)[0].outline_mm for t in (0.0, 10.0))
    np.testing.assert_allclose(area_and_centroid(first)[0], area_and_centroid(later)[0])
    moved = later.mean(axis=0) - first.mean(axis=0)
    spin = scrap.turn_rad_per_s * 10.0
    own = scrap.outline_mm.mean(axis=0)
    turned = np.array([[np.cos(spin), -np.sin(spin)], [np.sin(spin), np.cos(spin)]]) @ own
    np.testing.assert_allclose(moved, 10.0 * scrap.drift_mm_per_s + turned - own, atol=1e-9)
