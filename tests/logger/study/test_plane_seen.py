"""The picture with what was made of it: everything is drawn where it belongs."""

from __future__ import annotations

import math

import numpy as np

from calibration.lens import Lens
from calibration.waterplane import Pose, View, rotation_matrix
from logger.study.plane_seen import Spots, plane_seen
from tests.logger.study.test_plane_map import RIG

VIEW = View(
    Lens(640, 360, 450.0, 450.0, 319.5, 179.5),
    Pose.at(rotation_matrix([math.pi, 0, 0]), camera_mm=[600.0, 0.0, 1200.0]),
)
BLANK = np.full((360, 640), 100, np.uint8)


def has_colour(picture: np.ndarray, at: np.ndarray, blue_green_red: tuple[int, int, int]) -> bool:
    u, v = np.rint(at).astype(int)
    near = picture[max(v - 2, 0) : v + 3, max(u - 2, 0) : u + 3].astype(int)
    return bool((np.abs(near - blue_green_red).sum(-1) < 90).any())


def px(x: float, y: float) -> np.ndarray:
    return VIEW.to_pixels([[x, y, 0.0]])[0]


def test_wall_lines_axes_and_marks_lie_where_they_should() -> None:
    found, fitted = np.array([[200.0, 100.0]]), np.array([[215.0, 100.0]])
    picture = plane_seen(BLANK, VIEW, RIG, Spots(found, fitted, ["7"]))
    assert picture.shape == (360, 640, 3)
    assert has_colour(picture, px(700, -250), (60, 200, 255))
    assert has_colour(picture, px(1100, -100), (40, 220, 40))
    assert has_colour(picture, px(150, 0), (255, 90, 230))
    assert has_colour(picture, px(0, 150), (255, 90, 230))
    assert has_colour(picture, found[0], (60, 90, 255))
    assert has_colour(picture, fitted[0] + [7, 0], (255, 160, 0))
    assert not has_colour(picture, px(600, 30), (60, 200, 255))


def test_nothing_of_the_given_picture_is_changed() -> None:
    before = BLANK.copy()
    plane_seen(BLANK, VIEW, RIG, Spots(np.zeros((0, 2)), np.zeros((0, 2))))
    np.testing.assert_array_equal(BLANK, before)


def test_a_tank_far_out_of_the_picture_is_no_trouble() -> None:
    far = View(VIEW.lens, Pose.at(VIEW.pose.rotation, camera_mm=[90_000.0, 0.0, 1200.0]))
    picture = plane_seen(BLANK, far, RIG, Spots(np.zeros((0, 2)), np.zeros((0, 2))))
    assert np.ptp(picture[..., 0]) == 0
