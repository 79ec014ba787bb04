"""What moving water does to the picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.simulator.background import paint
from logger.simulator.scene import Scene, draw
from logger.simulator.water import Water
from logger.simulator.wishes import wishes


def a_scene(**waves: object) -> Scene:
    asked = wishes({"floor_pattern": "grid", "tank_length_mm": 1200.0, "length_mm": 100.0})
    scene = draw(tier="hard", kind="drift", seed=6, asked=asked)
    return replace(scene, waves=replace(scene.waves, **waves))


def test_level_water_leaves_the_picture_as_it_is() -> None:
    level = a_scene(slope=np.zeros(14), wake=0.0, glint=0.0)
    grey = paint(level).grey
    np.testing.assert_allclose(Water(level).moved(grey, 1.0), grey, atol=0.02)


def test_a_tilted_surface_shifts_the_floor_by_depth_times_a_quarter_of_its_slope() -> None:
    """(1 − 1/n)·d·s with n = 1.333: 0.25·d·s (Snell's law, small angles)."""
    scene = a_scene(
        vector_per_mm=np.array([[1e-7, 0.0]]), slope=np.array([0.05]), rate_rad_per_s=np.zeros(1),
        phase_rad=np.zeros(1), wake=0.0, glint=0.0,
    )  # fmt: skip
    grey = paint(scene).grey
    moved = Water(scene).moved(grey, 1.0)
    by_px = 0.2498 * 0.05 * scene.basin.depth_mm * scene.eye.f_px / scene.eye.place_mm[2]
    middle = scene.eye.see([((scene.basin.back_mm + scene.basin.front_mm) / 2, 0.0, 0.0)])[0].astype(int)
    rows, columns = np.mgrid[middle[1] - 60 : middle[1] + 60, middle[0] - 60 : middle[0] + 60]
    sign = np.sign(scene.eye.rotation[0, 0])
    slope_u = (grey[rows, columns + 1, 1] - grey[rows, columns - 1, 1]) / 2
    change = moved[rows, columns, 1] - grey[rows, columns, 1]
    assert (change * slope_u).sum() / (slope_u**2).sum() == pytest.approx(sign * by_px, rel=0.25)


def test_the_lamp_glints_only_on_the_water() -> None:
    scene = a_scene()
    grey = paint(scene).grey
    brighter = (Water(scene).moved(grey, 1.0) - grey).max(axis=2) > 40
    assert brighter.any()
    v, u = np.nonzero(brighter)
    places = scene.eye.on_plane(np.column_stack([u, v]), z_mm=0.0)
    assert (np.abs(places[:, 1]) < scene.basin.half_width_mm + 2).all()
