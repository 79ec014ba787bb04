from __future__ import annotations

import numpy as np
import pytest

from logger.config import Boat, Line, Rig, Tank
from logger.vision.ground import SHRINK, depth_share, ground, inside, places, within
from logger.vision.plane import Plane
from tests.logger.vision.painted import camera

PLANE = Plane(camera(), 0.0)
TANK = Tank(((-200.0, -300.0), (1300.0, -300.0), (1300.0, 300.0), (-200.0, 300.0)), 100.0)


def rig(*lines: Line) -> Rig:
    return Rig("r", TANK, lines)


def test_points_are_inside_a_polygon_with_a_dent_or_not() -> None:
    dented = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [5.0, 4.0], [0.0, 10.0]])
    points = np.array([[1.0, 5.0], [5.0, 8.0], [9.0, 5.0], [5.0, 2.0], [-1.0, 5.0]])
    assert inside(points, dented).tolist() == [True, False, True, True, False]


def test_a_point_is_where_its_pixel_of_the_small_mask_says_and_beyond_the_picture_as_at_the_border() -> None:
    mask = np.zeros((3, 5), bool)
    mask[1, 2:] = True
    pixels = np.array(
        [[2.0 * SHRINK, 1.5 * SHRINK], [2.0 * SHRINK - 1, 1.5 * SHRINK], [900.0, 1.0 * SHRINK], [9.0, -5.0]]
    )
    assert within(mask, pixels).tolist() == [True, False, True, False]
    assert within(None, pixels).all()


def test_the_start_zone_lies_behind_the_start_line_whichever_way_it_is_drawn() -> None:
    for a, b in (((0.0, -300.0), (0.0, 300.0)), ((0.0, 300.0), (0.0, -300.0))):
        found = ground(rig(Line("s", "start", a, b)), PLANE, Boat("b"))
        assert found.start_zone is not None
        assert found.forward_rad == pytest.approx(0)
        for x_mm, there in ((-120.0, True), (400.0, False)):
            u, v = (PLANE.pixels(np.array([[x_mm, 0.0]]))[0] / SHRINK).astype(int)
            assert found.start_zone[v, u] == there


def test_boats_go_toward_the_finish() -> None:
    start = Line("s", "start", (1000.0, -300.0), (1000.0, 300.0))
    finish = Line("f", "finish", (0.0, -300.0), (0.0, 300.0))
    found = ground(rig(start, finish), PLANE, Boat("b", length_mm=200, width_mm=80))
    assert abs(found.forward_rad) == pytest.approx(np.pi)
    assert found.longest_mm == 200
    assert ground(rig(), PLANE, Boat("b")).start_zone is None


def test_the_floor_seems_raised_by_the_refractive_index() -> None:
    """100 mm of water seem 75.0 mm deep (n = 1.33299, rays near the vertical; any handbook of optics)."""
    assert depth_share(TANK, PLANE) == pytest.approx(75.02 / 1475.02, rel=1e-3)
    assert depth_share(TANK, Plane(PLANE.view, 20.0)) == pytest.approx(1 - 1380 / 1475.02, rel=1e-3)


def test_every_small_pixel_lies_where_its_own_ray_says() -> None:
    plane = Plane(camera(k1=-0.05, tilt_rad=0.14), 20.0)
    v, u = np.mgrid[:180, :320]
    own = plane.points(np.column_stack([u.ravel(), v.ravel()]) * SHRINK + (SHRINK - 1) / 2)
    assert np.abs(places(plane, 180, 320) - own).max() < 0.5
