"""How good places are: twice the standard uncertainty in the worst direction, where the camera sees."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calibration.lens import Lens
from calibration.plane_worth import is_within, sees, sources_at, u_places_mm, worth
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(1280, 720, 900.0, 900.0, 639.5, 359.5)
POSE = Pose.at(rotation_matrix([math.pi, 0, 0]), camera_mm=[600.0, 0.0, 1200.0])
AREA = np.array([[0, -250], [1200, -250], [1200, 250], [0, 250]], np.float64)


def doubted(**shifts: tuple[float, float, float]) -> View:
    return View(LENS, POSE, {name: (LENS, POSE.moved([0, 0, 0], shift)) for name, shift in shifts.items()})


def test_a_doubtful_height_is_worst_in_the_corners_and_nothing_at_the_foot_point() -> None:
    """By similar triangles: r·u_h/H, twice."""
    found = worth(doubted(height=(0, 0, 6.0)), AREA)
    corner = 2 * math.hypot(600, 250) * 6 / 1200
    assert found.worst_mm == pytest.approx(corner, rel=1e-3)
    assert abs(found.worst_at_mm[0] - 600) == pytest.approx(600)
    assert np.nanmin(found.expanded_mm) < 0.1
    assert found.median_mm < found.worst_mm


def test_sources_add_in_squares_and_the_largest_is_told_first() -> None:
    view = doubted(small=(1.0, 0, 0), large=(0, 3.0, 0))
    assert u_places_mm(view, [[600, 0]])[0] == pytest.approx(3.0)  # they act across each other
    assert list(sources_at(view, (600.0, 0.0)).items()) == [
        ("large", pytest.approx(6.0)),
        ("small", pytest.approx(2.0)),
    ]
    both = doubted(one=(1.0, 0, 0), other=(1.0, 0, 0))
    assert u_places_mm(both, [[600, 0]])[0] == pytest.approx(math.sqrt(2))


def test_what_the_camera_does_not_see_is_not_told() -> None:
    far = AREA * [2.5, 1]
    found = worth(doubted(one=(1.0, 0, 0)), far)
    assert np.isnan(found.expanded_mm[:, -1]).all()
    assert np.isfinite(found.expanded_mm[:, 5]).all()
    np.testing.assert_array_equal(sees(doubted(), [[600.0, 0.0], [3000.0, 0.0]]), [True, False])


def test_the_area_has_the_shape_that_was_given() -> None:
    triangle = np.array([[0, 0], [100, 0], [0, 100]], np.float64)
    np.testing.assert_array_equal(is_within(np.array([[10.0, 10], [60, 60], [0, 0]]), triangle), [True, False, True])


def test_nothing_seen_is_no_number() -> None:
    found = worth(doubted(one=(1.0, 0, 0)), AREA + np.array([9000, 0]))
    assert math.isnan(found.worst_mm)
    assert math.isnan(found.median_mm)
