"""Printed squares whose number can be read in one picture.

Small squares are read in an enlarged picture: the detector wants a few pixels for each cell and straight sides.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.tags import FAMILY

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

_LEAST_PX = 8.0


@dataclass(frozen=True, slots=True)
class Options:
    """How to read."""

    family: int = FAMILY
    """OpenCV's number of the family."""
    enlarged_count: int = 1
    """How many times a picture is enlarged before it is read."""
    least_px: float = _LEAST_PX
    """Side of the least square that is looked for, pixels of the picture as it is: many small ones cost much time."""


@dataclass(frozen=True, slots=True, eq=False)
class Sign:
    """One square that was read."""

    number: int
    """Which square of its family."""
    corners_px: Floats
    """(4, 2) columns and rows: upper left, upper right, lower right, lower left of the number as it is printed."""


class Reader:
    """Reads the squares of one family."""

    def __init__(self, options: Options = Options()) -> None:
        self._enlarged = options.enlarged_count
        wanted = cv2.aruco.DetectorParameters()
        wanted.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
        wanted.adaptiveThreshWinSizeMin, wanted.adaptiveThreshWinSizeMax = 5, 25
        wanted.adaptiveThreshWinSizeStep = 20
        wanted.minDistanceToBorder = 1
        wanted.perspectiveRemovePixelPerCell = 8
        self._wanted = wanted
        self._least_px = options.least_px
        self._detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(options.family), wanted)

    def read(self, picture: Grey) -> list[Sign]:
        """All squares in a grey picture (h, w) whose number can be read."""
        times = self._enlarged
        large = picture
        if times > 1:
            large = np.asarray(cv2.resize(picture, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC), np.uint8)
        # OpenCV counts the outline as a share of the picture's longer side
        self._wanted.minMarkerPerimeterRate = min(4.0, 4 * self._least_px * times / max(large.shape))
        self._detector.setDetectorParameters(self._wanted)
        corners, numbers, _ = self._detector.detectMarkers(large)
        if numbers is None:
            return []
        found = []
        for number, at in zip(np.ravel(numbers).tolist(), corners, strict=True):
            places = (np.asarray(at, np.float64).reshape(4, 2) + 0.5) / times - 0.5
            if np.ptp(places, axis=0).max() >= self._least_px:
                found.append(Sign(int(number), places))
        return found
