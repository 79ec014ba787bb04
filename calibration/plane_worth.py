"""How good places on the water are, all over an area of it: the answer to "is it good enough?".

At each place the doubts of all sources are put together; told is the one in the worst direction, twice the standard
uncertainty (95 %).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike

from calibration.lens import Floats
from calibration.waterplane import View

_ABOUT_COUNT = 60
"""Places along the longer side of the area."""
_EXPANDED = 2.0
"""Coverage factor for 95 %, all sources being known well (JCGM 100:2008, 6.3)."""


@dataclass(frozen=True, slots=True, eq=False)
class Worth:
    """The doubt of places over an area."""

    x_mm: Floats
    """(W,) places along x."""
    y_mm: Floats
    """(H,) places along y."""
    expanded_mm: Floats
    """(H, W) how far off a place may be, 95 %; NaN outside of the area and where the camera does not see."""

    @property
    def worst_mm(self) -> float:
        """The largest of them; NaN if nothing is seen."""
        return float(np.nanmax(self.expanded_mm)) if np.isfinite(self.expanded_mm).any() else float("nan")

    @property
    def median_mm(self) -> float:
        """The middle one."""
        return float(np.nanmedian(self.expanded_mm)) if np.isfinite(self.expanded_mm).any() else float("nan")

    @property
    def worst_at_mm(self) -> tuple[float, float]:
        """Where the largest is."""
        row, column = np.unravel_index(int(np.nanargmax(self.expanded_mm)), self.expanded_mm.shape)
        return float(self.x_mm[column]), float(self.y_mm[row])


def u_places_mm(view: View, places_mm: ArrayLike) -> Floats:
    """Standard uncertainty (N,) of the calibration at places (N, 2) on the water, in the worst direction."""
    covariance = _covariance(view, np.asarray(places_mm, np.float64).reshape(-1, 2))
    worst: Floats = np.sqrt(np.maximum(np.linalg.eigvalsh(covariance)[:, -1], 0.0))
    return worst


def _covariance(view: View, places: Floats) -> Floats:
    pixels = view.to_pixels(np.column_stack([places, np.zeros(len(places))]))
    shifts = np.array(list(view.shifts_mm(pixels).values())).reshape(-1, len(places), 2)
    covariance: Floats = np.einsum("snj,snk->njk", shifts, shifts)
    return covariance


def worth(view: View, area_mm: ArrayLike) -> Worth:
    """The doubt over the polygon `area_mm` (N, 2), where the camera sees it."""
    corners = np.asarray(area_mm, np.float64).reshape(-1, 2)
    low, high = corners.min(0), corners.max(0)
    step = float((high - low).max()) / _ABOUT_COUNT
    x, y = (np.linspace(a, b, max(2, round((b - a) / step) + 1)) for a, b in zip(low, high, strict=True))
    xs, ys = np.meshgrid(x, y)
    places = np.column_stack([xs.ravel(), ys.ravel()])
    shown = is_within(places, corners) & sees(view, places)
    expanded = np.full(len(places), np.nan)
    if shown.any():
        expanded[shown] = _EXPANDED * u_places_mm(view, places[shown])
    return Worth(x, y, expanded.reshape(xs.shape))


def sees(view: View, places_mm: ArrayLike) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(N,) whether places (N, 2) on the water are in the picture."""
    places = np.asarray(places_mm, np.float64).reshape(-1, 2)
    points = np.column_stack([places, np.zeros(len(places))])
    u, v = view.to_pixels(points).T
    ahead = (points @ view.pose.rotation.T + view.pose.translation_mm)[:, 2] > 0
    lens = view.lens
    return np.asarray(ahead & (u >= -0.5) & (v >= -0.5) & (u <= lens.width_px - 0.5) & (v <= lens.height_px - 0.5))


def is_within(places_mm: Floats, corners_mm: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(N,) whether places (N, 2) are in the polygon or on its border."""
    polygon = corners_mm.astype(np.float32).reshape(-1, 1, 2)
    return np.array([cv2.pointPolygonTest(polygon, (float(x), float(y)), True) >= -1e-3 for x, y in places_mm], bool)


def sources_at(view: View, place_mm: tuple[float, float]) -> dict[str, float]:
    """By source, its expanded share of the doubt at one place on the water, mm; the largest first."""
    pixel = view.to_pixels([[*place_mm, 0.0]])
    parts = {name: _EXPANDED * float(np.linalg.norm(shift)) for name, shift in view.shifts_mm(pixel).items()}
    return dict(sorted(parts.items(), key=lambda part: -part[1]))
