"""A new plane beside the old one: what moves, what grows, what is turned."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calibration.lens import Lens
from calibration.plane_change import Change, change
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(1280, 720, 900.0, 900.0, 639.5, 359.5)
DOWN = rotation_matrix([math.pi, 0, 0])
AREA = np.array([[0, -250], [1200, -250], [1200, 250], [0, 250]], np.float64)
OLD = View(LENS, Pose.at(DOWN, camera_mm=[600.0, 0.0, 1200.0]))


def test_ten_mm_less_water_make_lengths_grow_by_dh_over_h() -> None:
    """The lens is 10 mm higher above the water: 10 / 1200 = 0.83 %, 5.4 mm in a corner 650 mm out."""
    new = View(LENS, Pose.at(DOWN, camera_mm=[600.0, 0.0, 1210.0]))
    found = change(OLD, new, AREA)
    assert found is not None
    assert found.scale_ratio == pytest.approx(1210 / 1200, rel=1e-6)
    assert found.most_mm == pytest.approx(650 * 10 / 1210, rel=1e-3)
    assert found.told() == "places move by up to 5.4 mm, lengths by +0.83%"


def test_a_frame_that_was_turned_is_told() -> None:
    turn = rotation_matrix([0, 0, math.pi])
    turned = View(LENS, Pose.at(DOWN @ turn, camera_mm=[600.0, 0.0, 1200.0]))
    found = change(OLD, turned, AREA)
    assert found is not None
    assert "were the marks typed in another order?" in found.told()


def test_pictures_of_another_size_have_nothing_alike() -> None:
    assert change(View(Lens(640, 360, 450.0, 450.0, 319.5, 179.5), OLD.pose), OLD, AREA) is None


def test_lengths_that_hardly_shrink_are_not_told_as_minus_nought() -> None:
    assert Change(0.0, 1 - 1e-7, False).told() == "places move by up to 0.0 mm, lengths by +0.00%"
    assert Change(0.0, 0.9999, False).told().endswith("lengths by -0.01%")
