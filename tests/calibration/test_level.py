"""The level of the water out of two pictures: painted through Snell's law by another hand."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from calibration.level import Level, level_effect, water_level
from calibration.waterplane import Pose, View
from tests.calibration import plane_picture
from tests.calibration.plane_picture import DEPTH_MM, EYE, LENS, OUTLINE_MM, Scene

VIEW = View(LENS, Pose.at(EYE.rotation, camera_mm=EYE.place_mm))


@cache
def painted(depth_mm: float, seed: int = 2, gain: float = 1.0, slat: bool = False) -> np.ndarray:
    return plane_picture.picture(Scene(seed=seed, depth_mm=depth_mm, gain=gain, slat=slat))


def found(now: np.ndarray, view: View = VIEW) -> Level | str:
    return water_level(view, painted(DEPTH_MM), now, water_mm=OUTLINE_MM, depth_mm=DEPTH_MM)


def test_ten_mm_less_water_are_seen_in_another_light_and_with_a_slat_on_it() -> None:
    level = found(painted(90.0, 7, 1.1, slat=True))
    assert isinstance(level, Level)
    assert level.higher_mm == pytest.approx(-10, abs=2 * level.u_higher_mm)
    assert level.u_higher_mm < 1.0
    assert level.wet_count > 50


def test_the_same_level_is_the_same_level_also_where_the_camera_was_knocked() -> None:
    """A picture shifted by a pixel is a camera turned by a little; the floor goes along with the rim."""
    knocked = np.roll(painted(DEPTH_MM, 8), (1, 1), (0, 1))
    for now in (painted(DEPTH_MM, 9), knocked):
        level = found(now)
        assert isinstance(level, Level)
        assert abs(level.higher_mm) < 2 * level.u_higher_mm


def test_more_water_counts_upwards() -> None:
    level = found(painted(115.0, 5))
    assert isinstance(level, Level)
    assert level.higher_mm == pytest.approx(15, abs=2 * level.u_higher_mm)


def test_a_floor_that_shows_nothing_or_something_else_is_told() -> None:
    bare = painted(DEPTH_MM).copy()
    (u0, v0), (u1, v1) = VIEW.to_pixels([[60, -220, 0], [1440, 220, 0]])
    bare[int(v1) : int(v0), int(u0) : int(u1)] = 150
    told = water_level(VIEW, bare, painted(90.0, 7), water_mm=OUTLINE_MM, depth_mm=DEPTH_MM)
    assert isinstance(told, str)
    assert "on the floor" in told
    blank = np.full_like(bare, 90)
    told = water_level(VIEW, blank, painted(90.0, 7), water_mm=OUTLINE_MM, depth_mm=DEPTH_MM)
    assert told == "the kept picture shows nothing to hold on to"
    strewn = painted(DEPTH_MM).copy()
    part = strewn[int(v1) : int(v0), int(u0) : int(u1)]
    part[:] = np.random.default_rng(1).integers(0, 255, part.shape)
    assert isinstance(found(strewn), str)


def test_what_it_does_follows_from_similar_triangles() -> None:
    """10 mm less under a lens at 1200 mm: lengths · 1200 / 1210, 0.83 % too short; 600 mm out 5.0 mm."""
    view = View(LENS, Pose.at(np.diag([1.0, -1.0, -1.0]), camera_mm=[0.0, 0.0, 1200.0]))
    effect = level_effect(view, -10.0, [[600.0, 0.0], [0.0, 100.0]])
    assert effect.scale_ratio == pytest.approx(1200 / 1210)
    assert effect.percent == pytest.approx(-0.826, abs=1e-3)
    assert effect.most_mm == pytest.approx(600 * 10 / 1210)
    # and so it is where the view itself is asked for what lies 10 mm lower
    pixel = view.to_pixels([[600.0, 0.0, -10.0]])
    assert 600 - view.to_plane(pixel)[0, 0] == pytest.approx(effect.most_mm)
    # tabled: 5 mm of 1.2 m is 0.42 % (a change dH of the level changes the scale by dH/H)
    assert level_effect(view, 5.0, [[1.0, 0.0]]).percent == pytest.approx(0.42, abs=0.005)
