"""Crossings of taped lines: found to a few hundredths of a pixel, or not at all."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.lens import Lens
from calibration.tape_grid import TapeGrid, crossing_near, find_crossings
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(640, 400, 470.0, 470.0, 322.0, 197.0, -0.15, 0.03)
VIEW = View(
    LENS, Pose.at(rotation_matrix([0.05, -0.04, 0.1]) @ rotation_matrix([math.pi, 0, 0]), camera_mm=(500, 0, 900))
)
GRID = TapeGrid(5, 3, 200.0, 150.0, (100.0, -150.0))
FINE = 3


def painted(*, tape_mm: float = 12.0, hidden: tuple[float, float] | None = None, noise: float = 2.0) -> np.ndarray:
    """The grid on a plain floor, each pixel the mean of nine rays; `hidden` is covered by a hand."""
    v, u = (np.indices((LENS.height_px * FINE, LENS.width_px * FINE)) + 0.5) / FINE - 0.5
    places = VIEW.to_plane(np.column_stack([u.ravel(), v.ravel()])).reshape(*u.shape, 2)
    level = np.full(u.shape, 175.0)
    for axis, step, first, count in ((0, 200.0, 100.0, 5), (1, 150.0, -150.0, 3)):
        along = places[..., 1 - axis]
        ends = (-190, 190) if axis == 0 else (60, 940)
        for k in range(count):
            on = (np.abs(places[..., axis] - first - k * step) < tape_mm / 2) & (along > ends[0]) & (along < ends[1])
            level[on] = 60
    if hidden is not None:
        level[np.linalg.norm(places - hidden, axis=-1) < 60] = 120
    seen = level.reshape(LENS.height_px, FINE, LENS.width_px, FINE).mean((1, 3))
    seen = cv2.GaussianBlur(seen, (0, 0), 0.6) + np.random.default_rng(1).normal(0, noise, seen.shape)
    return np.clip(seen, 0, 255).round().astype(np.uint8)


def true_px() -> np.ndarray:
    places = GRID.places_mm()
    return VIEW.to_pixels(np.column_stack([places, np.zeros(len(places))]))


def pointed_at() -> np.ndarray:
    """The four outermost, as a hand points at them."""
    return true_px()[list(GRID.corner_indices())] + [[3, -4], [-4, 2], [2, 3], [-3, -3]]


@pytest.mark.parametrize("tape_mm", [8.0, 20.0])
def test_every_crossing_is_found_from_four_that_were_pointed_at(tape_mm: float) -> None:
    found = find_crossings(painted(tape_mm=tape_mm), LENS, GRID, pointed_at())
    assert found.index == tuple(range(15))
    assert np.abs(found.pixels - true_px()).max() < 0.12


def test_a_covered_crossing_is_missed_and_not_invented() -> None:
    found = find_crossings(painted(hidden=(525.0, 20.0)), LENS, GRID, pointed_at())
    assert found.missed == (7,)
    assert np.abs(found.pixels - true_px()[list(found.index)]).max() < 0.12


def test_where_no_lines_cross_nothing_is_found() -> None:
    soft = cv2.GaussianBlur(painted().astype(np.float32), (0, 0), 0.8)
    plain, line_only = VIEW.to_pixels([[200.0, 70.0, 0.0], [200.0, 0.0, 0.0]])
    assert crossing_near(soft, plain, 12.0) is None
    assert crossing_near(soft, line_only, 12.0) is None
    assert crossing_near(soft, (3.0, 3.0), 12.0) is None


def test_corners_in_the_wrong_order_are_told() -> None:
    picture = painted()
    with pytest.raises(CalibrationError, match="go round the wrong way, as in a mirror"):
        find_crossings(picture, LENS, GRID, pointed_at()[[1, 0, 3, 2]])
    with pytest.raises(CalibrationError, match="do not go round the grid; wanted in this order"):
        find_crossings(picture, LENS, GRID, pointed_at()[[0, 2, 1, 3]])
    with pytest.raises(CalibrationError, match="found 3 outermost crossings"):
        find_crossings(picture, LENS, GRID, pointed_at()[:3])


def test_a_picture_without_the_grid_is_refused() -> None:
    with pytest.raises(CalibrationError, match="only 0 crossings of the grid are to be seen"):
        find_crossings(np.full((400, 640), 128, np.uint8), LENS, GRID, pointed_at())


def test_a_grid_has_two_lines_each_way_and_steps() -> None:
    with pytest.raises(CalibrationError, match="found 1 x 3 crossings; at least 2 x 2"):
        TapeGrid(1, 3, 100, 100)
    with pytest.raises(CalibrationError, match="found steps of 0 and 100 mm"):
        TapeGrid(2, 3, 0, 100)


def test_crossings_are_counted_row_by_row_from_the_least() -> None:
    np.testing.assert_array_equal(TapeGrid(2, 2, 10, 20, (1, 2)).places_mm(), [[1, 2], [11, 2], [1, 22], [11, 22]])
