"""Squares and discs are what OpenCV draws and reads: its generateImageMarker and its detector are the judges."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration import tags
from calibration.errors import CalibrationError


@pytest.mark.parametrize("number", [0, 1, 2, 7, 29])
def test_cells_are_those_that_opencv_draws(number: int) -> None:
    n = tags.side_count()
    drawn = cv2.aruco.generateImageMarker(tags.dictionary(), number, 10 * n, borderBits=tags.BORDER_COUNT)
    in_cell = drawn.reshape(n, 10, n, 10)
    assert (in_cell.min(axis=(1, 3)) == in_cell.max(axis=(1, 3))).all()
    assert np.array_equal(tags.cells(number), in_cell[:, 0, :, 0] == 0)


def painted(number: int, *, cell_px: int, quiet_count: int = tags.QUIET_COUNT) -> np.ndarray:
    black = np.pad(tags.cells(number), quiet_count)
    grey = np.where(np.kron(black, np.ones((cell_px, cell_px), bool)), 30, 220)
    return np.pad(grey, 3 * cell_px, constant_values=90).astype(np.uint8)  # a dark deck around the paper


@pytest.mark.parametrize("number", [0, 3, 17, 25, 29])
def test_a_square_with_its_quiet_border_is_read_and_its_corners_come_in_the_told_order(number: int) -> None:
    grey = painted(number, cell_px=12)
    corners, numbers, _ = cv2.aruco.ArucoDetector(tags.dictionary()).detectMarkers(grey)
    assert [int(n) for n in np.ravel(numbers)] == [number]
    size_mm = 40.0
    middle_px, px_per_mm = (grey.shape[0] - 1) / 2, 12 * tags.side_count() / size_mm
    x_mm, y_mm = tags.corners_mm(size_mm).T  # x up in the picture, y to its left
    expected = np.column_stack([middle_px - px_per_mm * y_mm, middle_px - px_per_mm * x_mm])
    assert np.abs(np.asarray(corners[0]).reshape(4, 2) - expected).max() < 1.0


def test_every_number_has_cells_of_its_own_also_when_turned() -> None:
    seen = {}
    for number in range(tags.numbers_count()):
        for turn in range(4):
            seen[np.rot90(tags.cells(number), turn).tobytes()] = number
    assert len(seen) == 4 * tags.numbers_count()


def test_the_border_is_black() -> None:
    for number in range(tags.numbers_count()):
        black = tags.cells(number)
        assert black.shape == (tags.side_count(),) * 2
        assert black[0].all()
        assert black[-1].all()
        assert black[:, 0].all()
        assert black[:, -1].all()
        assert not black.all()


@pytest.mark.parametrize("number", [-1, tags.numbers_count()])
def test_a_number_outside_the_family_is_told(number: int) -> None:
    last = tags.numbers_count() - 1
    with pytest.raises(CalibrationError, match=rf"tag: found number {number}; wanted 0 to {last}; choose one"):
        tags.cells(number)


def test_an_error_names_the_place() -> None:
    with pytest.raises(CalibrationError, match=r"card\.toml, boat\.tag\.number: found number 999"):
        tags.check_number(999, place="card.toml, boat.tag.number")
    assert tags.check_number(3) == 3


def test_lengths_follow_from_the_size() -> None:
    assert tags.quiet_mm(10.0 * tags.side_count()) == pytest.approx(10.0 * tags.QUIET_COUNT)
    assert np.hypot(*(tags.corners_mm(40.0)[0] - tags.corners_mm(40.0)[1])) == pytest.approx(40.0)
    assert 0 < tags.DISC_DOT_SHARE < 1
