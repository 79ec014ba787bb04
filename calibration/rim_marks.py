"""Marks on the tank's rim: numbered squares, larger than boats' tags and of another family; found in a picture.

The middle of a square is where its diagonals cross in the picture: that is the picture of the middle, from whatever
side it is seen (a mean of the corners is not).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calibration import tags
from calibration.board import Picture, grey
from calibration.lens import Floats

_LEAST_SIDE_PX = 12.0
_WINDOW_SHARE = 0.25  # of a cell; a corner's window must not reach the cells inside


@dataclass(frozen=True, slots=True, eq=False)
class RimMark:
    """One mark found in a picture."""

    number: int
    """As printed below it."""
    middle_px: Floats
    """(2,) where its middle is in the picture."""
    corners_px: Floats
    """(4, 2) upper left, upper right, lower right, lower left of the black square as it is printed.

    Blur rounds a corner, which draws all four inwards by up to 0.4 px; the middle stays where it is."""

    @property
    def side_px(self) -> float:
        """Length of the shortest side in the picture."""
        sides = np.linalg.norm(self.corners_px - np.roll(self.corners_px, 1, axis=0), axis=1)
        return float(sides.min())


def find_rim_marks(picture: Picture) -> dict[int, RimMark]:
    """Every mark of the rim's family in a grey (H, W) or colour (H, W, 3) picture, by number.

    A number that is seen twice is left out: it cannot be told which of the two is meant.
    """
    seen = grey(picture)
    wanted = cv2.aruco.DetectorParameters()
    wanted.adaptiveThreshWinSizeMax = 53
    wanted.minMarkerPerimeterRate = 0.01
    detector = cv2.aruco.ArucoDetector(tags.dictionary(tags.RIM_FAMILY), wanted)
    found, numbers, _ = detector.detectMarkers(seen)
    listed = [] if numbers is None else [int(number) for number in np.ravel(numbers)]
    marks = {}
    for number, four in zip(listed, found, strict=True):
        corners = _refined(seen, np.asarray(four, np.float32).reshape(4, 2))
        mark = RimMark(number, _crossing(corners), corners)
        if listed.count(number) == 1 and mark.side_px >= _LEAST_SIDE_PX:
            marks[number] = mark
    return marks


def _refined(seen: Picture, corners: np.ndarray[tuple[int, ...], np.dtype[np.float32]]) -> Floats:
    cell_px = float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).min()) / tags.side_count(
        tags.RIM_FAMILY
    )
    half = int(np.clip(round(2 * _WINDOW_SHARE * cell_px), 2, 9))
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 50, 1e-4)
    better = cv2.cornerSubPix(seen, corners.reshape(-1, 1, 2).copy(), (half, half), (-1, -1), criteria)
    return np.asarray(better, np.float64).reshape(4, 2)


def _crossing(corners: Floats) -> Floats:
    a, b, c, d = (np.append(corner, 1.0) for corner in corners)
    point = np.cross(np.cross(a, c), np.cross(b, d))
    middle: Floats = point[:2] / point[2]
    return middle
