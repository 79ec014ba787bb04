"""Where the boat's parts appear: freeboard, water below, rolling shutter, shadows."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.hull import area_and_centroid
from logger.simulator.scene import Scene, draw
from logger.simulator.sight import Sight
from logger.simulator.wishes import wishes


def a_scene(**asked: object) -> Scene:
    return draw(tier="easy", kind="straight", seed=31, asked=wishes({"speed_mm_per_s": 400.0} | asked))


def test_the_decks_centroid_on_its_own_plane_is_the_true_waterline_centroid() -> None:
    scene = a_scene(freeboard_mm=30.0, line_ns=0)
    sight = Sight(scene)
    for t in (0.0, scene.voyage.go_s + 2.0, scene.length_s):
        deck = scene.eye.on_plane(sight.deck(t), z_mm=scene.hull.freeboard_mm)
        np.testing.assert_allclose(area_and_centroid(deck)[1], scene.voyage.pose([t])[0, :2], atol=1e-6)


def test_freeboard_moves_the_deck_outward_by_r_h_over_height_minus_h() -> None:
    """Published case: H 1.2 m, r 0.3 m, h 20 mm: 5.09 mm (similar triangles)."""
    scene = a_scene(camera_height_mm=1200.0, tilt_deg=0.0)
    foot = scene.eye.place_mm[:2]
    seen = scene.eye.on_plane(scene.eye.see([[foot[0] + 300.0, foot[1], 20.0]]), z_mm=0.0)
    assert seen[0, 0] - foot[0] - 300.0 == pytest.approx(5.09, abs=0.01)


def test_a_point_under_water_is_seen_shallower() -> None:
    """Straight below the camera nothing moves; aside, the apparent depth is about d/n = 0.7502 d (Snell, paraxial)."""
    scene = a_scene(tilt_deg=0.0, camera_height_mm=1500.0)
    foot = scene.eye.place_mm
    aside = np.array([[foot[0] + 100.0, foot[1], -40.0]])
    seen = scene.eye.on_plane(Sight(scene).pixels(aside), z_mm=0.0)[0, 0] - foot[0]
    apparent_depth = 1500.0 * (100.0 / seen - 1.0)
    assert apparent_depth == pytest.approx(0.7502 * 40.0, rel=5e-3)


def test_a_rolling_shutter_sees_every_part_of_the_outline_at_its_own_time() -> None:
    scene = a_scene(line_ns=30_000)
    t = scene.voyage.go_s + 2.0
    pixels = Sight(scene).waterline(t)
    places = scene.eye.on_plane(pixels, z_mm=0.0)
    pose = scene.voyage.pose(t + pixels[:, 1] * 30e-6)
    c, s = np.cos(pose[:, 2]), np.sin(pose[:, 2])
    x, y = scene.hull.outline_mm.T
    wanted = np.column_stack([pose[:, 0] + c * x - s * y, pose[:, 1] + s * x + c * y])
    np.testing.assert_allclose(places, wanted, atol=1e-5)


def test_a_shadow_falls_away_from_the_lamp() -> None:
    scene = a_scene()
    sight, lamp = Sight(scene), scene.light
    fallen = sight.thrown(np.array([[500.0, 0.0, 50.0]]), 0.0)[0]
    away = (fallen[:2] - (500.0, 0.0)) @ [np.cos(lamp.from_rad), np.sin(lamp.from_rad)]
    assert away == pytest.approx(-50.0 * lamp.slant)
