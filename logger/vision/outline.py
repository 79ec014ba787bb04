"""The shape of a boat seen from above, as a closed polygon in its own frame: x forward, y to the left, mm."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def moments(polygon: Floats) -> tuple[float, Floats, Floats]:
    """Area (mm², positive when anticlockwise), centroid (2,) and central second moments (2, 2) mm² of a polygon (N, 2).

    Green's theorem over the edges; the second moments are divided by the area, so a rectangle a×b gives a²/12, b²/12.
    """
    x, y = (polygon - polygon.mean(axis=0)).T
    x2, y2 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y2 - x2 * y
    area = float(cross.sum() / 2)
    if area == 0:
        return 0.0, polygon.mean(axis=0), np.zeros((2, 2))
    centre = np.array([((x + x2) * cross).sum(), ((y + y2) * cross).sum()]) / (6 * area)
    xx = ((x * x + x * x2 + x2 * x2) * cross).sum() / (12 * area) - centre[0] ** 2
    yy = ((y * y + y * y2 + y2 * y2) * cross).sum() / (12 * area) - centre[1] ** 2
    xy = ((x * y2 + 2 * x * y + 2 * x2 * y2 + x2 * y) * cross).sum() / (24 * area) - centre[0] * centre[1]
    return area, centre + polygon.mean(axis=0), np.array([[xx, xy], [xy, yy]])


def axis(second: Floats) -> tuple[float, float]:
    """Direction (rad, within ±π/2) of the long axis of second moments (2, 2), and long over short (1 = round)."""
    values, vectors = np.linalg.eigh(second)
    long = vectors[:, 1] * (1 if vectors[0, 1] >= 0 else -1)
    return float(np.arctan2(long[1], long[0])), float(np.sqrt(max(values[1], 1e-12) / max(values[0], 1e-12)))


def evenly(polygon: Floats, count: int) -> Floats:
    """`count` points (count, 2) at equal steps of arc length along the closed polygon, in its own sense."""
    closed = np.vstack([polygon, polygon[:1]])
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = (np.arange(count) + 0.5) * along[-1] / count
    return np.column_stack([np.interp(at, along, closed[:, 0]), np.interp(at, along, closed[:, 1])])


def normals(points: Floats) -> Floats:
    """Outward unit normals (N, 2) of an anticlockwise closed row of points (N, 2)."""
    along = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)
    outward: Floats = np.column_stack([along[:, 1], -along[:, 0]]) / length[:, None]
    return outward


def convex(points: Floats) -> Floats:
    """Convex hull (M, 2) of points (N, 2), anticlockwise."""
    flat = cv2.convexHull(points.astype(np.float32), returnPoints=False).ravel()
    polygon: Floats = points[flat]
    return polygon if moments(polygon)[0] > 0 else polygon[::-1]


def reach(polygon: Floats, directions: Floats) -> Floats:
    """(N,) how far the polygon (M, 2) extends from its origin along unit `directions` (N, 2): its support function."""
    extent: Floats = (directions @ polygon.T).max(axis=1)
    return extent


def extents(polygon: Floats) -> tuple[float, float]:
    """Length along x and width along y, mm."""
    size = np.ptp(polygon, axis=0)
    return float(size[0]), float(size[1])


def turned(points: Floats, angle_rad: float) -> Floats:
    """Points (N, 2) turned anticlockwise about the origin."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    rotated: Floats = points @ np.array([[c, s], [-s, c]])
    return rotated


def tangent_polygon(points: Floats, outward: Floats) -> Floats:
    """The polygon (N, 2) whose sides touch the closed row of points (N, 2) with normals (N, 2).

    Its corners are where neighbouring tangents meet, so a sharp bow that lies between two points is kept. A meeting
    place farther off than the points' own spacing (nearly parallel tangents, or a dent) gives way to their midpoint.
    """
    after, outward_after = np.roll(points, -1, axis=0), np.roll(outward, -1, axis=0)
    middle, spacing = (points + after) / 2, np.hypot(*(after - points).T)
    det = outward[:, 0] * outward_after[:, 1] - outward[:, 1] * outward_after[:, 0]
    c1, c2 = (outward * points).sum(axis=1), (outward_after * after).sum(axis=1)
    safe = np.where(np.abs(det) < 1e-6, 1.0, det)
    meet = np.column_stack(
        [c1 * outward_after[:, 1] - c2 * outward[:, 1], outward[:, 0] * c2 - outward_after[:, 0] * c1]
    )
    meet = meet / safe[:, None]
    good = (det > 0.02) & (np.hypot(*(meet - middle).T) < spacing)
    polygon: Floats = np.where(good[:, None], meet, middle)
    return polygon


def evenly_kept(points: Floats) -> Floats:
    """The same number of points, slid along the closed row to even spacing, each staying next to its old place."""
    after, before = np.roll(points, -1, axis=0), np.roll(points, 1, axis=0)
    tangent = after - before
    tangent = tangent / np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    slip = (((after + before) / 2 - points) * tangent).sum(axis=1)
    kept: Floats = points + slip[:, None] * tangent
    return kept
