"""The simulated camera against OpenCV's projection, and its inverse against itself."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from logger.simulator.eye import Eye, looking_down


def an_eye(k1: float, turn_rad: float = 0.3) -> Eye:
    rotation = looking_down(tilt_x_rad=0.03, tilt_y_rad=-0.02, turn_rad=turn_rad)
    place = np.array([700.0, 40.0, 1400.0])
    return Eye(1280, 720, 930.0, 645.0, 351.0, (k1, 0.02, -0.003), (0.0005, -0.0004), rotation, place)


@pytest.mark.parametrize("k1", [-0.01, -0.2])
def test_points_fall_where_opencv_projects_them(k1: float) -> None:
    eye = an_eye(k1)
    points = np.random.default_rng(1).uniform((0, -400, 0), (1400, 400, 60), (200, 3))
    matrix = np.array([[eye.f_px, 0, eye.cx_px], [0, eye.f_px, eye.cy_px], [0, 0, 1]])
    bend = np.array([*eye.radial[:2], *eye.tangential, eye.radial[2]])
    turn, _ = cv2.Rodrigues(eye.rotation)
    wanted, _ = cv2.projectPoints(points, turn, eye.translation_mm, matrix, bend)
    np.testing.assert_allclose(eye.see(points), wanted.reshape(-1, 2), atol=1e-9)


@pytest.mark.parametrize("k1", [-0.01, -0.2])
def test_a_pixel_looked_along_comes_back_to_the_same_point(k1: float) -> None:
    eye = an_eye(k1)
    points = np.random.default_rng(2).uniform((100, -350), (1300, 350), (200, 2))
    pixels = eye.see(np.column_stack([points, np.full(200, 25.0)]))
    np.testing.assert_allclose(eye.on_plane(pixels, z_mm=25.0), points, atol=1e-6)


def test_the_picture_is_not_mirrored() -> None:
    eye = an_eye(-0.05, turn_rad=0.0)
    middle, ahead, left = eye.see([[700, 0, 0], [900, 0, 0], [700, 200, 0]])
    assert ahead[0] > middle[0] + 50
    assert left[1] < middle[1] - 50
