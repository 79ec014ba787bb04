"""The camera's place from marks: exact without noise, honest with it, and clear about bad marks."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import CalibrationError
from calibration.lens import Lens, moved_lens
from calibration.pose_fit import PoseFit, fit_pose, pose_misfit, rough_off_px
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(1280, 720, 940.0, 943.0, 652.0, 349.0, -0.12, 0.03, 0.0005, -0.0004)
DOWN = rotation_matrix([math.pi, 0, 0])
TRUE = View(LENS, Pose.at(rotation_matrix([0.05, -0.04, 0]) @ DOWN, camera_mm=(600.0, 20.0, 1200.0)))
CORNERS = np.array([[0.0, 250, 0], [1200, 250, 0], [1200, -250, 0], [0, -250, 0]])
RIM = np.concatenate([CORNERS, [[600, 250, 0], [600, -250, 0], [0, 0, 40], [1200, 0, 40]]])
FLOOR = np.array([[x, y, -100.0] for x in (100, 450, 800, 1100) for y in (-200, 0, 200)])
PLACES = np.array([[100.0, 100], [1200, 100], [640, 360], [300, 600]])

tilts = st.tuples(st.floats(-0.12, 0.12), st.floats(-0.12, 0.12), st.floats(-3, 3))


def seen(marks: np.ndarray, view: View = TRUE) -> np.ndarray:
    return view.to_pixels_through_water(marks)


@pytest.mark.parametrize("marks", [CORNERS, RIM, FLOOR, np.concatenate([RIM[:3], FLOOR[:3]])])
def test_marks_without_noise_give_the_camera_back(marks: np.ndarray) -> None:
    fit = fit_pose(LENS, marks, seen(marks))
    np.testing.assert_allclose(fit.view.pose.camera_mm, TRUE.pose.camera_mm, atol=1e-3)
    np.testing.assert_allclose(fit.view.to_plane(PLACES), TRUE.to_plane(PLACES), atol=1e-4)
    assert fit.rms_px < 1e-4
    assert fit.doubts == ()


@given(tilts, st.floats(900, 2000))
def test_from_any_side_and_height(tilt: tuple[float, float, float], height: float) -> None:
    turn = rotation_matrix([*tilt[:2], 0]) @ DOWN @ rotation_matrix([0, 0, tilt[2]])
    view = View(Lens(1280, 720, 500.0, 500.0, 640.0, 360.0), Pose.at(turn, camera_mm=(600.0, 0.0, height)))
    marks = RIM * [0.5, 0.5, 1] + [300, 0, 0]
    fit = fit_pose(view.lens, marks, seen(marks, view))
    np.testing.assert_allclose(fit.view.pose.camera_mm, view.pose.camera_mm, atol=0.05)


def test_four_marks_on_a_plane_agree_with_opencv_ippe() -> None:
    """cv2.solvePnP, SOLVEPNP_IPPE (Collins and Bartoli 2014), then its own refinement: an independent way."""
    pixels = seen(CORNERS) + np.array([[0.2, -0.1], [-0.3, 0.1], [0.1, 0.2], [0.0, -0.2]])
    fit = fit_pose(LENS, CORNERS, pixels, u_mark_mm=0.0)
    _, turn, shift = cv2.solvePnP(CORNERS, pixels, LENS.matrix, LENS.distortion, flags=cv2.SOLVEPNP_IPPE)
    turn, shift = cv2.solvePnPRefineLM(CORNERS, pixels, LENS.matrix, LENS.distortion, turn, shift)
    np.testing.assert_allclose(fit.view.pose.rotation, cv2.Rodrigues(turn)[0], atol=2e-5)
    np.testing.assert_allclose(fit.view.pose.translation_mm, shift.ravel(), atol=0.02)


def covered(fit: PoseFit) -> np.ndarray:
    """Whether the stated 95 % intervals hold the truth: pose (6), then places on the water (8)."""
    turn, shift = fit.view.pose.moves_to(TRUE.pose)
    pose = np.abs(np.concatenate([turn, shift])) < 1.96 * np.sqrt(np.diag(fit.covariance))
    shifts = np.array([s.ravel() for s in fit.view.shifts_mm(PLACES).values()])
    off = (fit.view.to_plane(PLACES) - TRUE.to_plane(PLACES)).ravel()
    return np.concatenate([pose, np.abs(off) < 1.96 * np.sqrt(np.sum(shifts**2, axis=0))])


def test_over_300_calibrations_95_percent_intervals_hold_the_truth() -> None:
    """Monte Carlo (JCGM 101): with 300 draws a true 95 % shows as 91.2 to 98.8 % (three sigma)."""
    rng = np.random.default_rng(7)
    hits = []
    for _ in range(300):
        there = RIM + rng.normal(0, 0.7, RIM.shape)
        pixels = seen(there) + rng.normal(0, 0.3, (len(RIM), 2))
        hits.append(covered(fit_pose(LENS, RIM, pixels, u_px=0.3, u_mark_mm=0.7)))
    share = np.mean(hits, axis=0)
    assert share.min() > 0.90
    assert share.max() < 0.99


def test_doubt_of_the_lens_and_of_the_level_is_in_the_intervals_too() -> None:
    """The same with a wrong lens and a wrong level each time, and marks so good that these two rule."""
    rng = np.random.default_rng(8)
    lens_covariance = np.diag([3.0, 3.0, 2.0, 2.0, 0.006, 0.006, 2e-4, 2e-4, 0.0]) ** 2
    hits = []
    for _ in range(120):
        lens = moved_lens(LENS, rng.multivariate_normal(np.zeros(9), lens_covariance))
        there = RIM + rng.normal(0, 0.2, RIM.shape) - [0, 0, rng.normal(0, 3.0)]
        pixels = seen(there) + rng.normal(0, 0.5, (len(RIM), 2))
        fit = fit_pose(lens, RIM, pixels, u_px=0.5, u_mark_mm=0.2, lens_covariance=lens_covariance, u_level_mm=3.0)
        hits.append(covered(fit)[6:])
    assert 0.90 < np.mean(hits) < 0.99


def test_a_floor_grid_taken_for_the_plane_fits_well_and_measures_wrong() -> None:
    """Why marks must say how deep they are: the residual is below half a pixel, distances are 6 % too long."""
    flat = fit_pose(LENS, FLOOR * [1, 1, 0], seen(FLOOR), u_px=0.3)
    right = fit_pose(LENS, FLOOR, seen(FLOOR), u_px=0.3)
    assert flat.rms_px < 0.5
    truth, wrong, good = (np.ptp(v.to_plane(PLACES)[:, 0]) for v in (TRUE, flat.view, right.view))
    assert wrong / truth == pytest.approx(1.061, abs=0.004)
    assert good / truth == pytest.approx(1, abs=1e-6)


def test_a_wrong_level_is_a_source_of_its_own() -> None:
    fit = fit_pose(LENS, CORNERS, seen(CORNERS), u_level_mm=6.0)
    there = TRUE.to_plane(PLACES)
    shift = fit.view.shifts_mm(PLACES)["water level"]
    # with 6 mm more water the lens is 6 mm nearer to it, and all distances on it are smaller by dH/H = 0.5 %
    np.testing.assert_allclose(shift, (TRUE.pose.camera_mm[:2] - there) * 6 / 1200, rtol=0.05, atol=0.02)


def test_better_marks_make_a_surer_camera() -> None:
    rough = fit_pose(LENS, RIM, seen(RIM), u_mark_mm=2.0)
    fine = fit_pose(LENS, RIM, seen(RIM), u_mark_mm=0.2)
    assert (np.diag(fine.covariance) < np.diag(rough.covariance) / 4).all()


def test_marks_worse_than_stated_widen_the_doubt_and_say_so() -> None:
    pixels = seen(RIM) + np.random.default_rng(2).normal(0, 1.5, (len(RIM), 2))
    fit = fit_pose(LENS, RIM, pixels, u_px=0.3, u_mark_mm=0.2)
    assert "more than stated; the doubt was widened" in fit.doubts[0]
    stated = fit_pose(LENS, RIM, pixels, u_px=1.5, u_mark_mm=0.2)
    ratio = np.sqrt(np.diag(fit.covariance) / np.diag(stated.covariance))
    assert ((ratio > 0.5) & (ratio < 2)).all()


def test_one_bad_mark_is_named() -> None:
    pixels = seen(RIM)
    pixels[4] += [25, -10]
    with pytest.raises(CalibrationError, match="mark 5 spoils it: measure its place"):
        fit_pose(LENS, RIM, pixels)


def test_marks_in_the_wrong_order_are_told() -> None:
    with pytest.raises(CalibrationError, match="order"):
        fit_pose(LENS, RIM, seen(RIM)[[1, 0, 2, 3, 5, 4, 7, 6]])


def test_marks_counted_the_wrong_way_round_are_told() -> None:
    """y to the right instead of to the left: only a camera under the water would see that."""
    with pytest.raises(CalibrationError, match=r"y is to the left of x|do not fit together"):
        fit_pose(LENS, CORNERS * [1, -1, 1], seen(CORNERS))


def test_all_mistakes_of_the_marks_are_told_at_once() -> None:
    with pytest.raises(CalibrationError, match="3 places but 2 pixels") as caught:
        fit_pose(LENS, RIM[:3], [[1, 2], [3, math.nan]], u_px=-1)
    assert len(caught.value.mistakes) == 4


@pytest.mark.parametrize(
    ("marks", "pixels", "told"),
    [
        (RIM * [1, 0, 0], seen(RIM), "the places of all marks lie on one line"),
        (RIM, seen(RIM) * [1, 0] + [0, 300], "the pixels of all marks lie on one line"),
        (RIM, seen(RIM) * 3, r"outside the picture of 1280 x 720; the lens must be calibrated for the picture's own"),
    ],
)
def test_marks_that_say_too_little_are_refused(marks: np.ndarray, pixels: np.ndarray, told: str) -> None:
    with pytest.raises(CalibrationError, match=told):
        fit_pose(LENS, marks, pixels)


def test_a_rough_look_tells_a_right_order_from_a_wrong_one_and_a_misfit_blames_nobody() -> None:
    skew = RIM + np.array([[0.0, 0, 0]] * 2 + [[-90, 40, 0]] + [[0.0, 0, 0]] * 5)
    wrong = skew[[1, 0, *range(2, 8)]]
    assert rough_off_px(LENS, skew, seen(skew)) < 5
    assert rough_off_px(LENS, wrong, seen(skew)) > 50
    assert rough_off_px(LENS, np.outer(np.arange(6.0), [200.0, 0, 0]), seen(RIM)[:6]) == math.inf
    assert pose_misfit(LENS, skew, seen(skew), u_px=0.3, u_mark_mm=np.full(8, 0.5)) < 0.1
    assert pose_misfit(LENS, wrong, seen(skew), u_px=0.3, u_mark_mm=np.full(8, 0.5)) > 6
