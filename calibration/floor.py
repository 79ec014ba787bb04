"""How deep the floor lies under the water, from one reading of a ruler or from several at different places.

The water is level, the floor need not be. Depth is taken as d + a·x + b·y about the middle of the readings; the slopes
a and b are believed to be 0 within SLOPE_MM_PER_M, until readings at different places, or the pictures, say more. What
is left open is given back as independent parts, so that it is carried through the fit like all that marks share.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibration.errors import CalibrationError
from calibration.lens import Floats

SLOPE_MM_PER_M = 3.0
"""Standard uncertainty of the slope of a floor that nobody levelled (common practice, no source)."""
PARTS = ("water depth", "floor slope along x", "floor slope along y")
"""Names of what is left open."""
DEPTH = PARTS[0]


@dataclass(frozen=True, slots=True)
class DepthReading:
    """A ruler put into the water upright."""

    depth_mm: float
    at_mm: tuple[float, float] | None = None
    """Tank x, y where it was read; None: just anywhere."""


@dataclass(frozen=True, slots=True, eq=False)
class Floor:
    """The floor as the readings have it."""

    middle_mm: Floats
    """(2,) tank x, y about which it is written down."""
    shape: Floats
    """(3,) depth at the middle, mm; slopes along x and along y, mm per mm."""
    parts: Floats
    """(3, 3) columns: by how much `shape` is off if one of PARTS is +1 standard uncertainty more."""

    def depth_mm(self, places_mm: ArrayLike) -> Floats:
        """Depth (N,) at tank places (N, 2)."""
        depth: Floats = self._levers(places_mm) @ self.shape
        return depth

    def shared(self, places_mm: ArrayLike) -> Mapping[str, Floats]:
        """By name, how floor marks at (N, 2) move, (N, 3), if that part is +1 standard uncertainty more."""
        deeper = self._levers(places_mm) @ self.parts
        zero = np.zeros(len(deeper))
        return {
            name: np.column_stack([zero, zero, -deeper[:, n]]) for n, name in enumerate(PARTS) if deeper[:, n].any()
        }

    def _levers(self, places_mm: ArrayLike) -> Floats:
        off = np.asarray(places_mm, np.float64).reshape(-1, 2) - self.middle_mm
        return np.column_stack([np.ones(len(off)), off])


def floor_from(readings: Sequence[DepthReading], *, u_mm: float, about_mm: ArrayLike) -> Floor:
    """The floor from N >= 1 readings, each with the standard uncertainty `u_mm`.

    Args:
        readings: More than one must say where.
        u_mm: Of each, independent of the others; above 0.
        about_mm: (2,) a reading without a place counts for here, such as the middle of the marks.

    Raises:
        CalibrationError: no reading, a depth of 0 or less, a place that is missing, a doubt of 0 or less.
    """
    mistakes = [f"found {one.depth_mm:g} mm; a depth above 0 is wanted" for one in readings if not one.depth_mm > 0]
    if not readings:
        mistakes.append("no depth was given; put a ruler into the water, upright, and give what it shows in mm")
    if len(readings) > 1 and any(one.at_mm is None for one in readings):
        mistakes.append("several depths, but not for each where it was read; wanted depth and place, as in 98@0,-150")
    if not u_mm > 0:
        mistakes.append(f"found a doubt of {u_mm:g} mm; above 0 is wanted, 1 to 2 mm for a ruler in water")
    if mistakes:
        raise CalibrationError("depth", mistakes)
    about = np.asarray(about_mm, np.float64)
    places = np.array([about if one.at_mm is None else one.at_mm for one in readings], np.float64)
    middle = places.mean(0)
    levers = np.column_stack([np.ones(len(places)), places - middle]) / u_mm
    level = np.diag([0.0, 1e3 / SLOPE_MM_PER_M, 1e3 / SLOPE_MM_PER_M])
    covariance = np.linalg.inv(levers.T @ levers + level @ level)
    depths = np.array([one.depth_mm for one in readings]) / u_mm
    return Floor(middle, covariance @ levers.T @ depths, np.asarray(np.linalg.cholesky(covariance), np.float64))
