from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from calibration.lens import Lens
from calibration.places import (
    OWN,
    Placed,
    Pointed,
    StraightLine,
    area_mm2,
    crosses_itself,
    is_inside,
    lines_meet,
    seen,
    straight_line,
    to_walls,
    typed,
)
from calibration.waterplane import WATER_INDEX, Pose, View
from tests.calibration import plane_tank

DOWN = np.diag([1.0, -1.0, -1.0])
HEIGHT_MM = 1200.0
LENS = Lens(1280, 720, 800.0, 800.0, 639.5, 359.5)
VIEW = View(LENS, Pose.at(DOWN, camera_mm=[600.0, 0.0, HEIGHT_MM]))
TANK = [(-300.0, -250.0), (1500.0, -250.0), (1500.0, 250.0), (-300.0, 250.0)]


def where_light_comes_through(r_mm: float, depth_mm: float) -> float:
    """Fermat: light takes the quickest way (Hecht, Optics, 4.5); sought by trying, not by Snell's formula."""
    quickest = minimize_scalar(
        lambda x: math.hypot(x, HEIGHT_MM) + WATER_INDEX * math.hypot(r_mm - x, depth_mm),
        bounds=(0, r_mm), method="bounded", options={"xatol": 1e-9},
    )  # fmt: skip
    return float(quickest.x)


# --- single points ---


@pytest.mark.parametrize("depth_mm", [40.0, 100.0, 150.0])
def test_a_tape_on_the_floor_means_the_vertical_plane_above_it(depth_mm: float) -> None:
    through = where_light_comes_through(600.0, depth_mm)
    pixel = VIEW.to_pixels([[600.0 + through, 0.0, 0.0]])[0]
    point = seen(Pointed((pixel[0], pixel[1]), height_mm=-depth_mm), VIEW)
    assert point.place_mm == pytest.approx([1200.0, 0.0], abs=0.01)
    taken_for_the_surface = seen(Pointed((pixel[0], pixel[1])), VIEW).place_mm[0]
    assert 1200.0 - taken_for_the_surface > 0.2 * depth_mm  # the pull towards the middle that must not be forgotten


def test_what_stands_above_the_water_is_not_where_it_looks() -> None:
    pixel = VIEW.to_pixels([[1200.0, 0.0, 45.0]])[0]
    point = seen(Pointed((pixel[0], pixel[1]), height_mm=45.0), VIEW)
    assert point.place_mm == pytest.approx([1200.0, 0.0], abs=1e-6)


def test_doubt_of_pointing_is_that_of_the_pixels_on_the_water() -> None:
    point = seen(Pointed((639.5, 359.5), u_px=2.0), VIEW)
    assert point.u_mm == pytest.approx(2.0 * HEIGHT_MM / 800.0, rel=1e-6)


def test_doubt_of_the_depth_moves_a_mark_away_from_the_foot_point() -> None:
    pixel = VIEW.to_pixels([[1150.0, 0.0, 0.0]])[0]
    point = seen(Pointed((pixel[0], pixel[1]), height_mm=-100.0, u_height_mm=2.0), VIEW)
    shift = point.shifts_mm["water depth"]
    slope = 550 / math.sqrt((WATER_INDEX * HEIGHT_MM) ** 2 + (WATER_INDEX**2 - 1) * 550**2)  # tan of the ray in water
    assert shift[0] == pytest.approx(2.0 * slope, rel=1e-6)
    assert shift[1] == pytest.approx(0.0, abs=1e-9)


def test_a_pixel_above_the_horizon_is_refused() -> None:
    level = View(LENS, Pose.at([[0.0, -1.0, 0.0], [0.0, 0.0, -1.0], [1.0, 0.0, 0.0]], camera_mm=[0.0, 0.0, 1000.0]))
    with pytest.raises(ValueError, match="does not look down at the water"):
        seen(Pointed((640.0, 10.0)), level)


def test_a_thing_as_high_as_the_lens_is_refused() -> None:
    with pytest.raises(ValueError, match="the lens itself is 1200 mm above the water"):
        seen(Pointed((640.0, 10.0), height_mm=1200.0), VIEW)


# --- lines ---


def test_a_typed_line_has_the_doubt_of_its_ends() -> None:
    line = straight_line([typed((0, -250), u_mm=1.0), typed((0, 250), u_mm=1.0)])
    assert (line.a_mm, line.b_mm) == (pytest.approx((0.0, -250.0)), pytest.approx((0.0, 250.0)))
    # between two ends of equal u the variance is u²((1-s)² + s²), 2/3 on the mean; nine places give 17/24
    assert line.u_mm == pytest.approx(math.sqrt(17 / 24), rel=1e-6)
    assert line.parts_mm[OWN] == line.u_mm


def test_what_both_ends_share_does_not_average_out() -> None:
    ends = [Placed(np.array(p), np.zeros((2, 2)), {"camera": np.array([3.0, 0.0])}) for p in ((0, -250.0), (0, 250.0))]
    assert straight_line(ends).parts_mm["camera"] == pytest.approx(3.0)


def test_a_turn_about_the_middle_is_seen_at_the_ends_only() -> None:
    ends = [Placed(np.array([0.0, y]), np.zeros((2, 2)), {"turn": np.array([y / 100, 0.0])}) for y in (-250.0, 250.0)]
    assert straight_line(ends).u_mm == pytest.approx(math.sqrt(np.mean((2.5 * np.linspace(-1, 1, 9)) ** 2)))


def test_more_points_than_two_are_fitted_and_a_bent_tape_is_told() -> None:
    line = straight_line([typed((x, y), u_mm=1.0) for x, y in ((0, -250), (9, 0), (0, 250))])
    assert line.bow_mm == pytest.approx(6.0)
    assert line.a_mm == pytest.approx((3.0, -250.0))


def test_one_point_or_one_place_is_no_line() -> None:
    with pytest.raises(ValueError, match="a line needs two"):
        straight_line([typed((0, 0), u_mm=1.0)])
    with pytest.raises(ValueError, match="all its points at one place"):
        straight_line([typed((5, 5), u_mm=1.0)] * 2)


def test_a_line_is_drawn_out_to_the_walls() -> None:
    line = to_walls(straight_line([typed((100, -50), u_mm=1.0), typed((110, 50), u_mm=1.0)]), TANK)
    assert (line.a_mm, line.b_mm) == (pytest.approx((80.0, -250.0)), pytest.approx((130.0, 250.0)))


def test_a_line_that_reached_beyond_the_walls_is_cut_there() -> None:
    line = to_walls(straight_line([typed((100, -900), u_mm=1.0), typed((100, 800), u_mm=1.0)]), TANK)
    assert (line.a_mm, line.b_mm) == (pytest.approx((100.0, -250.0)), pytest.approx((100.0, 250.0)))


def test_in_a_tank_with_a_bay_the_line_ends_at_the_nearest_walls() -> None:
    bay = [(0, 0), (400, 0), (400, 200), (200, 200), (200, 300), (400, 300), (400, 500), (0, 500)]
    line = to_walls(straight_line([typed((300, 50), u_mm=1.0), typed((300, 150), u_mm=1.0)]), bay)
    assert (line.a_mm, line.b_mm) == (pytest.approx((300.0, 0.0)), pytest.approx((300.0, 200.0)))


def test_a_line_outside_of_the_water_is_refused() -> None:
    with pytest.raises(ValueError, match="its middle 2000,0 is not in the water"):
        to_walls(StraightLine((2000.0, -50.0), (2000.0, 50.0), 1.0, {}), TANK)


# --- polygons ---


def test_inside_and_outside() -> None:
    assert is_inside((0.0, 0.0), TANK)
    assert is_inside((-300.0, 0.0), TANK)
    assert not is_inside((-301.0, 0.0), TANK)
    assert not is_inside((0.0, 251.0), TANK)


def test_corners_in_a_wrong_order_are_noticed() -> None:
    square = [(0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0)]
    assert not crosses_itself(square)
    assert crosses_itself([square[0], square[2], square[1], square[3]])
    assert area_mm2(square) == 81.0
    assert area_mm2(square[::-1]) == -81.0


def test_lines_that_cross_are_noticed() -> None:
    upright = StraightLine((0.0, -5.0), (0.0, 5.0), 0.0, {})
    assert lines_meet(upright, StraightLine((-1.0, 0.0), (1.0, 0.0), 0.0, {}))
    assert not lines_meet(upright, StraightLine((1.0, -5.0), (1.0, 5.0), 0.0, {}))


# --- does the stated doubt hold? ---

CASES_COUNT = 50


def one_line(rng: np.random.Generator, way: str) -> float:
    """Error over stated u of a line taped on the floor of a calibrated tank, clicked in the picture, at a place of it.

    Tank, lens, depth, marks are all off by as much as they say; the picture is made by the simulator's camera and its
    own law of refraction.
    """
    tank = plane_tank.tank(rng)
    view = plane_tank.calibrated(way, tank, rng).view
    x, slant = rng.uniform(100, 1400), rng.normal(0, 10)
    ends = np.array([[x - slant, -200.0, -plane_tank.DEPTH_MM], [x + slant, 200.0, -plane_tank.DEPTH_MM]])
    clicked = tank.through_water(ends) + rng.normal(0, 1.0, (2, 2))
    depth = plane_tank.DEPTH_MM + rng.normal(0, 2.0)
    points = [seen(Pointed((u, v), height_mm=-depth, u_height_mm=2.0), view) for u, v in clicked.tolist()]
    line = straight_line(points)
    share = rng.uniform()
    there = np.array(line.a_mm) * (1 - share) + np.array(line.b_mm) * share
    across = np.array([ends[1, 1] - ends[0, 1], ends[0, 0] - ends[1, 0]])
    return float((there - ends[0, :2]) @ across / np.linalg.norm(across) / line.u_mm)


def test_the_stated_doubt_of_a_taped_line_covers_the_truth() -> None:
    rng = np.random.default_rng(32)
    off = np.array([one_line(rng, "rim") for _ in range(CASES_COUNT)])
    held = float(np.mean(np.abs(off) <= 1.96))
    assert 0.90 <= held <= 1.0, f"{held:.2f} of {CASES_COUNT}"
    assert 0.5 < np.sqrt(np.mean(off**2)) < 1.25
