"""How good places are, where the camera sees: each by itself, and all of them at a time."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm, rayleigh

from calibration.lens import Lens
from calibration.plane_worth import (
    all_within,
    all_within_mm,
    each_within,
    is_within,
    sees,
    sources_at,
    u_places_mm,
    worth,
)
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(1280, 720, 900.0, 900.0, 639.5, 359.5)
POSE = Pose.at(rotation_matrix([math.pi, 0, 0]), camera_mm=[600.0, 0.0, 1200.0])
AREA = np.array([[0, -250], [1200, -250], [1200, 250], [0, 250]], np.float64)


def doubted(**shifts: tuple[float, float, float]) -> View:
    return View(LENS, POSE, {name: (LENS, POSE.moved([0, 0, 0], shift)) for name, shift in shifts.items()})


def test_a_doubtful_height_is_worst_in_the_corners_and_nothing_at_the_foot_point() -> None:
    """By similar triangles: r·u_h/H, 1.96 times: one source moves all alike, so that corners are always the worst."""
    found = worth(doubted(height=(0, 0, 6.0)), AREA)
    corner = norm.ppf(0.975) * math.hypot(600, 250) * 6 / 1200
    assert found.worst_place_mm == pytest.approx(corner, rel=1e-3)
    assert found.worst_mm == pytest.approx(corner, rel=3e-3)
    assert abs(found.worst_at_mm[0] - 600) == pytest.approx(600)
    assert np.nanmin(found.expanded_mm) < 0.1
    assert found.median_mm < found.worst_mm


@pytest.mark.parametrize("ratio", [0.0, 0.3, 0.7, 1.0])
def test_a_place_is_within_what_is_told_in_95_of_100(ratio: float) -> None:
    """Two independent directions; counted, and for alike ones Rayleigh's distribution (SciPy's)."""
    shifts = np.array([[[3.0, 0.0]], [[0.0, 3.0 * ratio]]])
    (told,) = each_within(shifts)
    drawn = np.random.default_rng(5).normal(size=(200_000, 2)) @ shifts[:, 0]
    assert np.mean(np.hypot(*drawn.T) <= told) == pytest.approx(0.95, abs=0.002)
    if ratio == 1.0:
        assert told == pytest.approx(3.0 * rayleigh.ppf(0.95), rel=1e-3)
    assert all_within(shifts) == pytest.approx(told, rel=0.003)


@pytest.mark.parametrize("count", [2, 4, 8])
def test_all_places_are_within_more_than_each_if_each_goes_its_own_way(count: int) -> None:
    """N independent errors of one direction are all within k in (2Φ(k) − 1)^N of all cases."""
    shifts = np.zeros((count, count, 2))
    shifts[range(count), range(count), 0] = 2.0
    assert each_within(shifts) == pytest.approx(2.0 * norm.ppf(0.975), rel=1e-3)
    assert all_within(shifts) == pytest.approx(2.0 * norm.ppf((1 + 0.95 ** (1 / count)) / 2), rel=0.003)


def test_what_nobody_doubts_is_exact_and_the_same_comes_out_each_time() -> None:
    assert all_within(np.zeros((3, 4, 2))) == 0.0
    assert each_within(np.zeros((3, 4, 2))).tolist() == [0.0] * 4
    view = doubted(height=(0, 0, 6.0), side=(2.0, 1.0, 0))
    assert worth(view, AREA).worst_mm == worth(view, AREA).worst_mm == pytest.approx(
        all_within_mm(view, AREA), rel=0.01
    )  # fmt: skip


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
