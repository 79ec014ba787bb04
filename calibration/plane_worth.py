"""How good places on the water are, all over an area of it: the answer to "is it good enough?".

Each source of doubt moves all places at once, each by its own amount. Told of a place is the distance within which it
is in 95 of 100 calibrations. An error has two directions and may be largest anywhere, so this is no plain multiple of a
standard uncertainty: for two alike and independent directions it takes 2.45 of them (the 95th percentile of Rayleigh's
distribution), for one 1.96. Told of an area is the distance beyond which, in 95 of 100, no place of it is at all; that
is more, as the place that is worst is another one each time.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtri
from scipy.stats import qmc

from calibration.lens import Floats
from calibration.waterplane import View

Mask: TypeAlias = NDArray[np.bool_]
_ABOUT_COUNT = 60
"""Places along the longer side of the area."""
_SOME_COUNT = 21
"""Places along each side by which the whole area is judged at a time."""
_EXPANDED = 2.0
"""Coverage factor for 95 %, all sources being known well (JCGM 100:2008, 6.3)."""
_LEVEL = 0.95
_DRAWS_COUNT_LOG2, _MOST_PARTS, _SEED = 12, 16, 1
"""How many invented calibrations an area is judged by (4096: good to 0.3 %), how many independent parts of doubt these
have at most, and which ones they are."""


@dataclass(frozen=True, slots=True, eq=False)
class Worth:
    """The doubt of places over an area."""

    x_mm: Floats
    """(W,) places along x."""
    y_mm: Floats
    """(H,) places along y."""
    expanded_mm: Floats
    """(H, W) how far off a place may be, 95 %; NaN outside of the area and where the camera does not see."""
    worst_mm: float
    """How far off the place that is off most may be, wherever it is, 95 %; NaN if nothing is seen."""

    @property
    def worst_place_mm(self) -> float:
        """How far off the place that is known worst may be, 95 %; NaN if nothing is seen."""
        return float(np.nanmax(self.expanded_mm)) if np.isfinite(self.expanded_mm).any() else float("nan")

    @property
    def median_mm(self) -> float:
        """The middle one."""
        return float(np.nanmedian(self.expanded_mm)) if np.isfinite(self.expanded_mm).any() else float("nan")

    @property
    def worst_at_mm(self) -> tuple[float, float]:
        """Where that place is."""
        row, column = np.unravel_index(int(np.nanargmax(self.expanded_mm)), self.expanded_mm.shape)
        return float(self.x_mm[column]), float(self.y_mm[row])


def u_places_mm(view: View, places_mm: ArrayLike) -> Floats:
    """Standard uncertainty (N,) of the calibration at places (N, 2) on the water, in the worst direction."""
    covariance = _covariance(view, np.asarray(places_mm, np.float64).reshape(-1, 2))
    worst: Floats = np.sqrt(np.maximum(np.linalg.eigvalsh(covariance)[:, -1], 0.0))
    return worst


def _shifts(view: View, places: Floats) -> Floats:
    """(S, N, 2) how each source's standard uncertainty moves places (N, 2) on the water."""
    pixels = view.to_pixels(np.column_stack([places, np.zeros(len(places))]))
    return np.array(list(view.shifts_mm(pixels).values()), np.float64).reshape(-1, len(places), 2)


def _covariance(view: View, places: Floats) -> Floats:
    shifts = _shifts(view, places)
    covariance: Floats = np.einsum("snj,snk->njk", shifts, shifts)
    return covariance


def all_within_mm(view: View, places_mm: ArrayLike) -> float:
    """Within which distance places (N, 2) on the water all are, in 95 of 100 calibrations."""
    return all_within(_shifts(view, np.asarray(places_mm, np.float64).reshape(-1, 2)))


def each_within(shifts_mm: Floats) -> Floats:
    """(N,) within which distance each place is, 95 %.

    `shifts_mm` (S, N, 2) is how places move with each source; a calibration moves them by these times normal numbers,
    one for each source.
    """
    narrow, wide = np.sqrt(np.maximum(np.linalg.eigvalsh(np.einsum("snj,snk->njk", shifts_mm, shifts_mm)), 0.0)).T
    ratios, factors = _factors()
    found: Floats = wide * np.interp(np.divide(narrow, wide, out=np.zeros_like(wide), where=wide > 0), ratios, factors)
    return found


def all_within(shifts_mm: Floats) -> float:
    """Within which distance all places are, 95 %: as `each_within`, but of the one that is off most each time.

    Worked out by calibrations that might have been, evenly spread (Sobol's points), the same ones each time.
    """
    if not shifts_mm.any():
        return 0.0
    _, size, right = np.linalg.svd(shifts_mm.reshape(len(shifts_mm), -1), full_matrices=False)
    parts = (size[:, None] * right)[size > 1e-3 * size[0]][:_MOST_PARTS]  # independent, the largest first
    points = qmc.Sobol(len(parts), rng=_SEED).random_base2(_DRAWS_COUNT_LOG2)
    off = (ndtri(points) @ parts).reshape(len(points), -1, 2)
    return float(np.quantile(np.hypot(off[..., 0], off[..., 1]).max(1), _LEVEL))


@cache
def _factors() -> tuple[Floats, Floats]:
    """Ratios of a small to a large standard deviation, and by how many of the large ones 95 % of errors are covered.

    Within r of the middle of a normal distribution with s1 and s2 are 1 − mean over all directions a of
    exp(−r²/2(s1² cos² a + s2² sin² a)).
    """
    ratios = np.linspace(0.0, 1.0, 51)
    angles = (np.arange(720) + 0.5) * np.pi / 720

    def beyond(factor: float, ratio: float) -> float:
        spread = np.cos(angles) ** 2 + (ratio * np.sin(angles)) ** 2
        return float(np.exp(-(factor**2) / (2 * spread)).mean()) - (1 - _LEVEL)

    return ratios, np.array([brentq(beyond, 1.5, 3.0, args=(ratio,)) for ratio in ratios])


def worth(view: View, area_mm: ArrayLike) -> Worth:
    """The doubt over the polygon `area_mm` (N, 2), where the camera sees it."""
    corners = np.asarray(area_mm, np.float64).reshape(-1, 2)
    low, high = corners.min(0), corners.max(0)
    step = float((high - low).max()) / _ABOUT_COUNT
    x, y = (np.linspace(a, b, max(2, round((b - a) / step) + 1)) for a, b in zip(low, high, strict=True))
    xs, ys = np.meshgrid(x, y)
    places = np.column_stack([xs.ravel(), ys.ravel()])
    shown = is_within(places, corners) & sees(view, places)
    expanded, worst = np.full(len(places), np.nan), float("nan")
    if shown.any():
        shifts = _shifts(view, places[shown])
        expanded[shown] = each_within(shifts)
        worst = all_within(shifts[:, _some(xs.shape)[shown]])
    return Worth(x, y, expanded.reshape(xs.shape), worst)


def _some(shape: tuple[int, ...]) -> Mask:
    """(H·W,) some places of a grid (H, W), evenly spread, with its border: doubt changes slowly from place to place."""
    kept = [np.unique(np.linspace(0, count - 1, min(count, _SOME_COUNT)).round().astype(int)) for count in shape]
    chosen = np.zeros(shape, np.bool_)
    chosen[np.ix_(*kept)] = True
    return chosen.ravel()


def sees(view: View, places_mm: ArrayLike) -> Mask:
    """(N,) whether places (N, 2) on the water are in the picture."""
    places = np.asarray(places_mm, np.float64).reshape(-1, 2)
    points = np.column_stack([places, np.zeros(len(places))])
    u, v = view.to_pixels(points).T
    ahead = (points @ view.pose.rotation.T + view.pose.translation_mm)[:, 2] > 0
    lens = view.lens
    return np.asarray(ahead & (u >= -0.5) & (v >= -0.5) & (u <= lens.width_px - 0.5) & (v <= lens.height_px - 0.5))


def is_within(places_mm: Floats, corners_mm: Floats) -> Mask:
    """(N,) whether places (N, 2) are in the polygon or on its border."""
    polygon = corners_mm.astype(np.float32).reshape(-1, 1, 2)
    return np.array([cv2.pointPolygonTest(polygon, (float(x), float(y)), True) >= -1e-3 for x, y in places_mm], bool)


def sources_at(view: View, place_mm: tuple[float, float]) -> dict[str, float]:
    """By source, its expanded share of the doubt at one place on the water, mm; the largest first."""
    pixel = view.to_pixels([[*place_mm, 0.0]])
    parts = {name: _EXPANDED * float(np.linalg.norm(shift)) for name, shift in view.shifts_mm(pixel).items()}
    return dict(sorted(parts.items(), key=lambda part: -part[1]))
