"""The best fit is where an independent program finds it, and where the truth is."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.lens import LENS_PARAMETERS, Lens
from calibration.lens_solve import board_pose, focal_scaled, free_of, linear, rms_of, solve
from calibration.waterplane import rotation_matrix
from tests.calibration.board_views import USUAL, WIDE, placed, seen_at, shown


@pytest.mark.parametrize("lens", [USUAL, WIDE], ids=["usual", "wide"])
def test_corners_without_noise_give_lens_and_poses_back(lens: Lens) -> None:
    views = shown(lens, np.random.default_rng(1), sd_px=0.0)
    solved = solve(list(views.values()), model=lens.model, with_k3=False)
    for name in LENS_PARAMETERS:
        assert getattr(solved.lens, name) == pytest.approx(getattr(lens, name), rel=1e-4, abs=3e-5), name
    assert max(rms_of(views, solved).values()) < 2e-3


def test_a_fisheye_is_the_one_that_opencv_finds() -> None:
    """cv2.fisheye.calibrate with its fourth term held at 0: another program, the same least squares."""
    views = list(shown(WIDE, np.random.default_rng(2)).values())
    ours = solve(views, model="fisheye", with_k3=True)
    points = [v.points_mm.reshape(1, -1, 3).astype(np.float64) for v in views]
    pixels = [v.pixels.reshape(1, -1, 2).astype(np.float64) for v in views]
    flags = cv2.CALIB_FIX_SKEW | cv2.CALIB_FIX_K4 | cv2.CALIB_RECOMPUTE_EXTRINSIC
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 200, 1e-12)
    rms, matrix, bend, _, _ = cv2.fisheye.calibrate(
        points, pixels, (1280, 720), None, np.zeros((4, 1)), flags=flags, criteria=criteria
    )
    off = np.concatenate([linear(ours.lens, v, p)[0] for v, p in zip(views, ours.poses, strict=True)])
    assert np.sqrt(2 * np.mean(off**2)) == pytest.approx(rms, rel=1e-3)
    np.testing.assert_allclose(ours.lens.matrix, matrix, atol=0.02)
    np.testing.assert_allclose([ours.lens.k1, ours.lens.k2, ours.lens.k3], np.ravel(bend)[:3], atol=2e-4)


@pytest.mark.parametrize("lens", [USUAL, WIDE], ids=["usual", "wide"])
def test_how_pixels_follow_pose_and_lens_is_what_small_steps_show(lens: Lens) -> None:
    view = next(iter(shown(lens, np.random.default_rng(3), sd_px=0.0).values()))
    pose, _ = board_pose(lens, view)
    start, by_pose, by_lens = linear(lens, view, pose)
    moved = (pose[0] + [[1e-6], [0], [0]], pose[1])
    np.testing.assert_allclose((start - linear(lens, view, moved)[0]) / 1e-6, by_pose[:, 0], rtol=1e-3, atol=0.05)
    longer = focal_scaled(lens, 1 + 1e-6)
    grown = (start - linear(longer, view, pose)[0]) / 1e-6
    np.testing.assert_allclose(grown, by_lens[:, 0] * lens.fx_px + by_lens[:, 1] * lens.fy_px, rtol=1e-3, atol=0.05)


@pytest.mark.parametrize("lens", [USUAL, WIDE], ids=["usual", "wide"])
def test_a_pose_before_a_known_lens_explains_the_corners(lens: Lens) -> None:
    for view in shown(lens, np.random.default_rng(4), sd_px=0.0).values():
        assert np.abs(board_pose(lens, view)[1]).max() < 1e-4


@pytest.mark.parametrize("about_axis_deg", [0.0, 90.0, 180.0, -179.0])
@pytest.mark.parametrize("tilt_rad", [0.03, 0.5, -0.5])
def test_however_a_board_is_turned_its_pose_is_found(about_axis_deg: float, tilt_rad: float) -> None:
    tilt = rotation_matrix([0.0, tilt_rad, 0.0])
    turn = cv2.Rodrigues(tilt @ rotation_matrix([0.0, 0.0, np.radians(about_axis_deg)]))[0].ravel()
    place = placed(USUAL, turn, np.array([700.0, 300.0]), 400.0)
    assert place is not None
    view = seen_at(USUAL, place)
    assert view is not None
    pose, residuals = board_pose(USUAL, view)
    assert np.abs(residuals).max() < 1e-4
    np.testing.assert_allclose(rotation_matrix(pose[0])[:, 2], tilt[:, 2], atol=1e-5)


def test_only_what_a_model_has_is_fitted() -> None:
    assert [LENS_PARAMETERS[i] for i in free_of("fisheye", with_k3=True)] == [
        "fx_px",
        "fy_px",
        "cx_px",
        "cy_px",
        "k1",
        "k2",
        "k3",
    ]
    assert len(free_of("brown", with_k3=False)) == 8
    assert len(free_of("brown", with_k3=True)) == 9
