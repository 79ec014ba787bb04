"""The boat's silhouette in one picture: what differs from the empty tank around a rough place, as one polygon."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision import outline
from logger.vision.background import Grey
from logger.vision.plane import Plane, Singles

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Silhouette:
    """One convex outline in a picture."""

    polygon_px: Floats
    """(N, 2) pixels, around the outer border."""
    contrast: float
    """How far the thing's grey is from the empty tank's, grey levels, positive."""


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A silhouette brought onto a plane of the tank: moments are taken there, not in the picture."""

    centre_mm: Floats
    axis_rad: float
    elongation: float
    """Long over short; 1 is round."""
    area_mm2: float
    polygon_mm: Floats


def silhouette(
    picture: Grey,
    empty: Singles,
    *,
    centre_px: tuple[float, float],
    radius_px: float,
    noise: float,
    light: float = 1.0,
    is_bright: bool = False,
) -> Silhouette | None:
    """What stands out within `radius_px` of `centre_px`, its parts joined by their convex hull; None if nothing does.

    A line on the floor whose grey is the boat's cuts the boat in two: parts of some size are all taken.
    With `is_bright` only those count that are brighter than the empty tank.
    """
    u0, v0 = max(0, int(centre_px[0] - radius_px)), max(0, int(centre_px[1] - radius_px))
    u1, v1 = int(centre_px[0] + radius_px) + 1, int(centre_px[1] + radius_px) + 1
    base = empty[v0:v1, u0:u1]
    if base.size < 9:
        return None
    signed = np.asarray(picture[v0:v1, u0:u1] / np.float32(light) - base, np.float32)
    signed[np.isnan(signed)] = 0
    across = np.arange(signed.shape[1], dtype=np.float32) + np.float32(u0 - centre_px[0])
    down = np.arange(signed.shape[0], dtype=np.float32) + np.float32(v0 - centre_px[1])
    from_centre = np.sqrt(across**2 + (down**2)[:, None])
    inner = from_centre < 0.3 * radius_px
    if not inner.any():
        return None
    apart = np.maximum(signed, 0) if is_bright else _one_sided(signed, signed[inner], 3.5 * noise)
    core = apart[inner]
    contrast = float(np.percentile(core, 70))
    threshold = max(0.45 * contrast, 3.5 * noise)
    mask = ((apart > threshold) & (from_centre < radius_px)).astype(np.uint8)
    opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)).astype(np.uint8, copy=False)
    points = _parts(opened, from_centre, radius_px)
    if points is None:
        return None
    return Silhouette(points + np.array([u0, v0], np.float64), contrast)


def _one_sided(signed: Singles, core: Singles, least: float) -> Singles:
    """How far the picture differs to the side (brighter or darker) to which the core does; to either if it does both.

    The dark shadow of a bright boat is not taken for boat that way.
    """
    brighter, darker = int((core > least).sum()), int((core < -least).sum())
    if brighter > 3 * darker:
        return np.maximum(signed, 0)
    return np.maximum(-signed, 0) if darker > 3 * brighter else np.abs(signed)


def _parts(mask: NDArray[np.uint8], from_centre: Singles, radius_px: float) -> Floats | None:
    count, labels, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=4)
    if count < 2:
        return None
    areas = stats[1:, cv2.CC_STAT_AREA]
    near = from_centre[
        np.clip(centres[1:, 1].round().astype(int), 0, mask.shape[0] - 1),
        np.clip(centres[1:, 0].round().astype(int), 0, mask.shape[1] - 1),
    ]
    value = areas * (near < 0.75 * radius_px)
    if value.max(initial=0) < 12:
        return None
    is_kept = np.append(np.uint8(0), (value > 0.15 * value.max()).astype(np.uint8))
    borders, _ = cv2.findContours(is_kept[labels], cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return np.vstack([border[:, 0] for border in borders]).astype(np.float64)


def on_plane(seen: Silhouette, plane: Plane) -> Shape:
    """The silhouette's convex hull on `plane` with area, centroid and axis."""
    # a border pixel's centre lies half a pixel inside the border; few of its pixels are corners
    corners = cv2.convexHull(seen.polygon_px.astype(np.float32))[:, 0].astype(np.float64)
    polygon = outline.convex(plane.points(corners))
    _, centre, _ = outline.moments(polygon)
    half = 0.5 * plane.step_mm(centre)
    outward = polygon - centre
    polygon = centre + outward * (1 + half / np.maximum(np.hypot(*outward.T), half))[:, None]
    area, centre, second = outline.moments(polygon)
    axis_rad, elongation = outline.axis(second)
    return Shape(centre, axis_rad, elongation, area, polygon)
