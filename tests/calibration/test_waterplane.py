"""Ray <-> millimetres: tables, independent libraries, Monte Carlo, and laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.transform import ProjectiveTransform

from calibration.lens import Lens
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(1280, 720, 940.0, 943.0, 652.0, 349.0, -0.12, 0.03, 0.0005, -0.0004)
PINHOLE = Lens(1280, 720, 940.0, 943.0, 652.0, 349.0)
DOWN = rotation_matrix([math.pi, 0, 0])
GRID = np.array([[30.0, 20.0], [640.0, 360.0], [1250.0, 40.0], [900.0, 700.0], [200.0, 650.0]])

tilts = st.tuples(st.floats(-0.15, 0.15), st.floats(-0.15, 0.15), st.floats(-3, 3))
cameras = st.tuples(st.floats(-500, 500), st.floats(-500, 500), st.floats(500, 2500))


def view_from(tilt: tuple[float, float, float], camera: tuple[float, float, float], lens: Lens = LENS) -> View:
    return View(
        lens, Pose.at(rotation_matrix([*tilt[:2], 0]) @ DOWN @ rotation_matrix([0, 0, tilt[2]]), camera_mm=camera)
    )


TILTED = view_from((0.05, -0.08, 0.3), (600.0, 40.0, 1200.0))


@given(tilts, cameras, st.floats(-50, 300))
def test_pixel_to_plane_and_back(tilt, camera, z_mm: float) -> None:
    view = view_from(tilt, camera)
    plane = view.to_plane(GRID, z_mm=z_mm)
    np.testing.assert_allclose(view.to_pixels(np.column_stack([plane, np.full(5, z_mm)])), GRID, atol=1e-5)


@given(tilts, cameras, st.floats(-3, 3), st.tuples(st.floats(-900, 900), st.floats(-900, 900)))
def test_turning_and_shifting_tank_and_camera_together_changes_no_pixel(tilt, camera, angle, shift) -> None:
    """A symmetry: the tank's frame is a choice, the picture is not."""
    view = view_from(tilt, camera)
    turn = rotation_matrix([0, 0, angle])
    moved = Pose.at(view.pose.rotation @ turn.T, camera_mm=turn @ view.pose.camera_mm + np.array([*shift, 0]))
    straight = np.column_stack([view.to_plane(GRID), np.zeros(5)])
    np.testing.assert_allclose(
        View(LENS, moved).to_plane(GRID), (straight @ turn.T)[:, :2] + np.array(shift), atol=1e-6
    )


# How far out (mm, beyond its true place) a thing at height h (mm) seems, 0.3 m from the foot point of a lens at 1.2 m:
# r·h/(H − h), exact by similar triangles.
OUTWARD_MM = {10: 2.52, 20: 5.09, 30: 7.69, 50: 13.04, 100: 27.27}


@pytest.mark.parametrize(("h_mm", "outward_mm"), OUTWARD_MM.items())
def test_a_thing_above_the_water_seems_farther_out_as_tabled(h_mm: int, outward_mm: float) -> None:
    foot = TILTED.pose.camera_mm[:2]
    true = foot + 300 * np.array([0.8, -0.6])
    pixel = TILTED.to_pixels([[*true, h_mm]])
    np.testing.assert_allclose(TILTED.to_plane(pixel) - true, [[0.8 * outward_mm, -0.6 * outward_mm]], atol=0.006)
    np.testing.assert_allclose(TILTED.to_plane(pixel, z_mm=h_mm), [true], atol=1e-6)


def test_each_pixel_may_have_its_own_height() -> None:
    heights = np.array([0.0, 10.0, 20.0, 30.0, 40.0])
    both = TILTED.to_plane(GRID, z_mm=heights)
    for i, height in enumerate(heights):
        np.testing.assert_allclose(both[i], TILTED.to_plane(GRID[i : i + 1], z_mm=float(height))[0])


def test_a_pixel_above_the_horizon_has_no_place_on_the_water() -> None:
    level = View(PINHOLE, Pose.at(rotation_matrix([math.pi / 2 + 0.2, 0, 0]), camera_mm=(0, 0, 500)))
    assert np.isnan(level.to_plane([[640, 0]])).all()
    assert np.isfinite(level.to_plane([[640, 719]])).all()


def test_a_straight_lens_over_a_plane_is_a_projective_transform() -> None:
    """scikit-image's ProjectiveTransform, fitted to four of our points, gives the rest."""
    view = View(PINHOLE, TILTED.pose)
    corners = np.array([[0.0, 0.0], [1279, 0], [1279, 719], [0, 719]])
    theirs = ProjectiveTransform.from_estimate(corners, view.to_plane(corners))
    np.testing.assert_allclose(theirs(GRID), view.to_plane(GRID), atol=1e-6)


# A plane point of one pixel under a homography, with Jacobian and covariance: X = h1·u/h3·u and
# J = (h11 − X·h31, ...)/h3·u in closed form; central differences agree to 2e-14 and a Monte Carlo of 400,000 to 0.5 %.
HOMOGRAPHY_M = [[0.00105, 2.1e-05, -0.62], [-1.3e-05, 0.00108, -0.41], [1.7e-05, -2.3e-05, 1.0]]
PIXEL, PIXEL_COVARIANCE = [812.4, 377.9], [[0.09, 0.02], [0.02, 0.0625]]
PLACE_M = [0.2397287047873231, -0.012365897732915408]
PLACE_COVARIANCE_M2 = [[9.859739484349234e-08, 2.2929150299983446e-08], [2.2929150299983446e-08, 7.158913810472054e-08]]


def through_homography(matrix: np.ndarray, pixel: np.ndarray, covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The closed form, written anew here as the reference."""
    h1, h2, h3 = matrix
    w = h3 @ [*pixel, 1]
    place = np.array([h1 @ [*pixel, 1], h2 @ [*pixel, 1]]) / w
    jacobian = np.array([h1[:2] - place[0] * h3[:2], h2[:2] - place[1] * h3[:2]]) / w
    return place, jacobian @ covariance @ jacobian.T


def test_the_reference_below_gives_the_worked_case() -> None:
    place, covariance = through_homography(np.array(HOMOGRAPHY_M), np.array(PIXEL), np.array(PIXEL_COVARIANCE))
    np.testing.assert_allclose(place, PLACE_M, rtol=1e-12)
    np.testing.assert_allclose(covariance, PLACE_COVARIANCE_M2, rtol=1e-12)


@given(tilts, cameras)
def test_place_and_covariance_are_those_of_the_homography_of_a_straight_lens(tilt, camera) -> None:
    view = view_from(tilt, camera, PINHOLE)
    plane_to_picture = PINHOLE.matrix @ np.column_stack([view.pose.rotation[:, :2], view.pose.translation_mm])
    picture_to_plane = np.linalg.inv(plane_to_picture)
    place, covariance = through_homography(picture_to_plane, np.array(PIXEL), np.array(PIXEL_COVARIANCE))
    np.testing.assert_allclose(view.to_plane([PIXEL]), [place], atol=1e-6)
    np.testing.assert_allclose(view.plane_covariance([PIXEL], PIXEL_COVARIANCE), [covariance], rtol=1e-6, atol=1e-9)


def numerical_jacobian(view: View, pixels: np.ndarray, z_mm: float) -> np.ndarray:
    columns = []
    for step in 1e-3 * np.eye(2):
        ahead, behind = view.to_plane(pixels + step, z_mm=z_mm), view.to_plane(pixels - step, z_mm=z_mm)
        columns.append((ahead - behind) / 2e-3)
    return np.stack(columns, -1)


@given(tilts, cameras, st.floats(0, 100))
def test_the_jacobian_is_the_slope(tilt, camera, z_mm: float) -> None:
    view = view_from(tilt, camera)
    np.testing.assert_allclose(
        view.plane_jacobian(GRID, z_mm=z_mm), numerical_jacobian(view, GRID, z_mm), rtol=1e-4, atol=1e-5
    )


def test_the_spread_of_many_noisy_pixels_is_the_stated_covariance() -> None:
    """Monte Carlo, JCGM 101: with 40,000 draws each entry is known to about 1 %."""
    covariance_px2 = np.array([[0.5, 0.2], [0.2, 0.3]])
    draws = np.random.default_rng(4).multivariate_normal([1100.0, 600.0], covariance_px2, 40_000)
    spread = np.cov(TILTED.to_plane(draws, z_mm=15.0).T)
    stated = TILTED.plane_covariance([[1100.0, 600.0]], covariance_px2, z_mm=15.0)[0]
    np.testing.assert_allclose(stated, spread, rtol=0.04, atol=0.01 * stated.max())


def test_a_doubtful_height_moves_places_along_the_line_to_the_foot_point() -> None:
    here = TILTED.to_plane(GRID, z_mm=20.0)
    higher = TILTED.to_plane(GRID, z_mm=20.5)
    np.testing.assert_allclose(TILTED.height_shift(here, z_mm=20.0, u_z_mm=0.5), higher - here, rtol=1e-3, atol=1e-6)


def test_a_freeboard_known_to_2_mm_is_worth_half_a_millimetre_at_the_end_of_the_tank() -> None:
    """r·u/(H − h) at r = 0.3 m, H = 1.2 m, h = 14 mm: 0.506 mm."""
    place = TILTED.pose.camera_mm[:2] + np.array([300.0, 0.0])
    shift = TILTED.height_shift([place], z_mm=14.0, u_z_mm=2.0)
    np.testing.assert_allclose(shift, [[-0.506, 0.0]], atol=5e-4)


@given(tilts, cameras, st.floats(0, 200))
def test_floor_to_pixel_and_back_through_water(tilt, camera, depth_mm: float) -> None:
    view = view_from(tilt, camera)
    floor = view.to_floor(GRID, depth_mm=depth_mm)
    deep = np.column_stack([floor, np.full(5, -depth_mm)])
    np.testing.assert_allclose(view.to_pixels_through_water(deep), GRID, atol=1e-5)


def test_points_in_the_air_do_not_care_about_the_water() -> None:
    points = np.array([[100.0, 50.0, 0.0], [900.0, -100.0, 40.0]])
    np.testing.assert_array_equal(TILTED.to_pixels_through_water(points), TILTED.to_pixels(points))


def test_points_above_and_under_the_water_go_each_their_own_way() -> None:
    above, under = np.array([[100.0, 50.0, 40.0]]), np.array([[900.0, -100.0, -90.0], [300.0, 20.0, -60.0]])
    both = TILTED.to_pixels_through_water(np.concatenate([under, above]))
    np.testing.assert_allclose(both[:2], TILTED.to_pixels_through_water(under), atol=1e-9)
    np.testing.assert_allclose(both[2:], TILTED.to_pixels(above), atol=1e-9)
    assert np.abs(both[:2] - TILTED.to_pixels(under)).max() > 3


def test_shifts_are_what_each_source_would_do() -> None:
    higher = TILTED.pose.moved([0, 0, 0], [0, 0, 3])
    view = View(LENS, TILTED.pose, {"camera height": (LENS, higher)})
    shift = view.shifts_mm(GRID)["camera height"]
    np.testing.assert_allclose(shift, (view.to_plane(GRID) - [600, 40]) * 3 / 1200, atol=1e-6)


@given(tilts, cameras, st.tuples(*[st.floats(-0.01, 0.01)] * 3), st.tuples(*[st.floats(-20, 20)] * 3))
def test_a_move_of_the_camera_can_be_told_again(tilt, camera, turn, shift) -> None:
    pose = view_from(tilt, camera).pose
    told_turn, told_shift = pose.moves_to(pose.moved(turn, shift))
    np.testing.assert_allclose(told_turn, turn, atol=1e-12)
    np.testing.assert_allclose(told_shift, shift, atol=1e-8)


def test_a_pose_cannot_be_changed_behind_its_back() -> None:
    with pytest.raises(ValueError, match="read-only"):
        TILTED.pose.rotation[0, 0] = 2.0
