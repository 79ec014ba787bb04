"""What is printed and stuck on a deck: squares with a number, and discs. Printing and reading both ask here.

A square is a field of cells, black or white, inside a border of black cells one cell wide; a white quiet border, at
least one cell wide, must stand around it. The side that is told is that of the black square. Its arrow, the way to the
bow, is the upper edge of the number as it is printed.

A disc is black on white paper, with a white dot in its middle.

A tag's own frame: origin in its middle, x to the bow, y to the left, millimetres.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.lens import Floats

FAMILY = cv2.aruco.DICT_APRILTAG_16h5
"""The one family of squares that is printed and read (OpenCV's number for it): 30 numbers.

Chosen by measurement, as the most readable when small and moving. At the same size of the whole print, seen 20 pixels
wide and smeared by 2 pixels, 68 % of its squares are read in the picture as it is; 32 % of 4x4_50, 35 % of 5x5_50, 38 %
of 25h9, 12 % of 36h11. Seen 24 pixels wide and smeared by 4: 48 % against 25, 8, 10 and 2 %. No number was read wrongly
in 600 pictures each (once of 4x4_50). `python -m tests.bench.tags` makes the whole table.
"""

RIM_FAMILY = cv2.aruco.DICT_APRILTAG_36h11
"""The family of the marks on the tank's rim. They are larger and at rest, so the many cells of this family can be
read, and no mark of it is ever taken for a boat's: at least 11 of its 36 cells would have to be read wrongly."""

BORDER_COUNT = 1
"""Width of the black border, in cells."""

QUIET_COUNT = 1
"""Least width of the white border around the black square, in cells."""

DISC_DOT_SHARE = 0.3
"""Diameter of a disc's white dot, as a part of the disc's."""

DISC_QUIET_SHARE = 0.25
"""Least width of white paper around a disc, as a part of its diameter."""


def dictionary(family: int = FAMILY) -> cv2.aruco.Dictionary:
    """The family as OpenCV's detector wants it; a new one at every call, for it can be changed."""
    return cv2.aruco.getPredefinedDictionary(family)


def numbers_count(family: int = FAMILY) -> int:
    """How many squares there are: numbers from 0 up to one less than this."""
    return len(dictionary(family).bytesList)


def side_count(family: int = FAMILY) -> int:
    """Cells along one side of a black square, its border included."""
    return int(dictionary(family).markerSize) + 2 * BORDER_COUNT


def check_number(number: int, *, place: str = "tag", family: int = FAMILY) -> int:
    """Raise CalibrationError, with `place` before it, unless there is a square of that number; gives it back."""
    last = numbers_count(family) - 1
    if not 0 <= number <= last:
        raise CalibrationError(place, [f"found number {number}; wanted 0 to {last}; choose one of these"])
    return number


def cells(number: int, family: int = FAMILY) -> NDArray[np.bool_]:
    """The square of that number with its black border: (N, N), row 0 is the upper edge, True is black.

    Raises:
        CalibrationError: there is no such number.
    """
    made = dictionary(family)
    listed = made.bytesList[check_number(number, family=family)]
    white = cv2.aruco.Dictionary.getBitsFromByteList(listed.reshape(1, *listed.shape), made.markerSize)
    black: NDArray[np.bool_] = np.pad(np.asarray(white) == 0, BORDER_COUNT, constant_values=True)
    return black


def corners_mm(size_mm: float) -> Floats:
    """Corners of a black square in the tag's own frame: (4, 2) in the order of OpenCV's detector.

    That is upper left, upper right, lower right, lower left of the number as it is printed; the bow is above.
    """
    half_mm = size_mm / 2
    corners: Floats = half_mm * np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, -1.0], [-1.0, 1.0]])
    return corners


def quiet_mm(size_mm: float, family: int = FAMILY) -> float:
    """Least width of the white border around a black square of that side."""
    return QUIET_COUNT * size_mm / side_count(family)
