"""Seen through water: a published table's closed relation, Fermat's principle, and there and back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from calibration.refraction import WATER_INDEX, floor_under, seen_on_water

LENS_MM = (200.0, -50.0, 1200.0)
DEPTH_MM = 100.0
# Inward shift, mm, of a mark 0.1 m under water at horizontal distance r (m) below a lens 1.2 m above the water. Snell's
# law with n = 1.33299 (20 °C, 589.3 nm, against air: IAPWS R9-97 over 1.000272), solved in 40-digit arithmetic.
INWARD_MM = {0.05: 2.941, 0.1: 5.876, 0.2: 11.708, 0.3: 17.453, 0.4: 23.072, 0.5: 28.528, 0.6: 33.791}
# By how much a boat at the surface is read too far out (mm) where the floor was taken for the plane; same source.
OUTWARD_MM = {0.05: 3.125, 0.1: 6.242, 0.2: 12.428, 0.3: 18.504, 0.4: 24.420, 0.5: 30.135, 0.6: 35.614}

places = st.tuples(st.floats(-2000, 2000), st.floats(-2000, 2000))
heights = st.floats(200, 3000)
depths = st.floats(0, 1000)


def out_from_the_foot_point(r_mm: float) -> np.ndarray:
    return np.array([LENS_MM[:2]]) + r_mm * np.array([[0.6, 0.8]])


@pytest.mark.parametrize(("r_m", "shift_mm"), INWARD_MM.items())
def test_a_mark_on_the_floor_moves_towards_the_foot_point_as_tabled(r_m: float, shift_mm: float) -> None:
    floor = out_from_the_foot_point(1000 * r_m)
    moved = seen_on_water(floor, camera_mm=LENS_MM, depth_mm=DEPTH_MM) - floor
    np.testing.assert_allclose(moved, -shift_mm * np.array([[0.6, 0.8]]), atol=5e-4)


@pytest.mark.parametrize(("r_m", "shift_mm"), OUTWARD_MM.items())
def test_what_is_seen_on_the_water_lies_farther_out_on_the_floor_as_tabled(r_m: float, shift_mm: float) -> None:
    seen = out_from_the_foot_point(1000 * r_m)
    moved = floor_under(seen, camera_mm=LENS_MM, depth_mm=DEPTH_MM) - seen
    np.testing.assert_allclose(moved, shift_mm * np.array([[0.6, 0.8]]), atol=5e-4)


@pytest.mark.parametrize("r_mm", [30.0, 300.0, 900.0])
def test_light_takes_the_quickest_way(r_mm: float) -> None:
    """Fermat's principle, minimised by SciPy: an independent way to the same surface point."""

    def optical_path(x: float) -> float:
        return np.hypot(x, 1200.0) + WATER_INDEX * np.hypot(r_mm - x, DEPTH_MM)

    quickest = minimize_scalar(optical_path, bounds=(0, r_mm), method="bounded", options={"xatol": 1e-9}).x
    seen = seen_on_water(out_from_the_foot_point(r_mm), camera_mm=LENS_MM, depth_mm=DEPTH_MM)
    # a minimum found from its values alone is known to about the root of the machine's precision
    assert np.linalg.norm(seen - LENS_MM[:2]) == pytest.approx(quickest, abs=2e-4)


@given(places, heights, depths)
def test_down_and_up_again(place: tuple[float, float], height: float, depth: float) -> None:
    camera = (10.0, -20.0, height)
    seen = seen_on_water([place], camera_mm=camera, depth_mm=depth)
    np.testing.assert_allclose(floor_under(seen, camera_mm=camera, depth_mm=depth), [place], atol=1e-8)


@given(places, heights, depths, st.floats(-3, 3))
def test_a_turned_tank_turns_the_picture(place: tuple[float, float], height: float, depth: float, angle: float) -> None:
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    camera = (0.0, 0.0, height)
    straight = seen_on_water([place], camera_mm=camera, depth_mm=depth)
    turned = seen_on_water(np.array([place]) @ turn.T, camera_mm=camera, depth_mm=depth)
    np.testing.assert_allclose(turned, straight @ turn.T, atol=1e-8)


def test_it_is_almost_a_pure_scale_so_that_no_residual_shows_it() -> None:
    """Over ±0.6 m under a lens at 1.2 m, after the best single factor, less than 0.7 mm of 34 is left."""
    r = np.linspace(-600, 600, 49)
    floor = np.column_stack([r, 0 * r])
    seen = seen_on_water(floor, camera_mm=(0, 0, 1200.0), depth_mm=DEPTH_MM)[:, 0]
    factor = (seen @ r) / (seen @ seen)
    assert factor == pytest.approx(1.0608, abs=2e-4)
    assert np.abs(factor * seen - r).max() < 0.7


def test_without_water_nothing_moves_and_the_foot_point_never_does() -> None:
    np.testing.assert_array_equal(seen_on_water([[300, 40]], camera_mm=LENS_MM, depth_mm=0), [[300, 40]])
    np.testing.assert_array_equal(seen_on_water([LENS_MM[:2]], camera_mm=LENS_MM, depth_mm=100), [LENS_MM[:2]])


def test_each_point_may_have_its_own_depth() -> None:
    floor = np.array([[500.0, 0.0], [500.0, 0.0]])
    seen = seen_on_water(floor, camera_mm=LENS_MM, depth_mm=[0.0, 100.0])
    assert seen[0, 0] == 500 > seen[1, 0]


def test_a_depth_above_the_water_and_a_drowned_camera_are_refused() -> None:
    with pytest.raises(ValueError, match="found -5 mm; 0 or more is wanted"):
        seen_on_water([[0, 0]], camera_mm=LENS_MM, depth_mm=-5)
    with pytest.raises(ValueError, match="found -1 mm above the water"):
        floor_under([[0, 0]], camera_mm=(0, 0, -1.0), depth_mm=5)
