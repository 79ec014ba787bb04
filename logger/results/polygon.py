"""How deep a point lies in a shape on the water: the tank, a port, the hull's own waterline."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def inside_mm(points_mm: Floats, corners_mm: Floats) -> Floats:
    """(N,) distance of points (N, 2) from the nearest side of a shape (K, 2 corners, K ≥ 3); negative outside it."""
    ends = np.roll(corners_mm, -1, axis=0)
    side = ends - corners_mm
    off = points_mm[:, None] - corners_mm
    share = np.clip((off * side).sum(axis=2) / np.maximum((side**2).sum(axis=1), 1e-12), 0.0, 1.0)
    nearest = np.hypot(*np.moveaxis(off - share[:, :, None] * side, -1, 0)).min(axis=1)
    found: Floats = np.where(_inside(points_mm, corners_mm, ends), nearest, -nearest)
    return found


def _inside(points: Floats, corners: Floats, ends: Floats) -> NDArray[np.bool_]:
    """Crossing-number rule for points (N, 2) and edges corner -> end."""
    x, y = points[:, 0, None], points[:, 1, None]
    crosses = (corners[:, 1] > y) != (ends[:, 1] > y)
    rise = np.where(ends[:, 1] == corners[:, 1], 1.0, ends[:, 1] - corners[:, 1])
    at = corners[:, 0] + (y - corners[:, 1]) * (ends[:, 0] - corners[:, 0]) / rise
    odd: NDArray[np.bool_] = (crosses & (x < at)).sum(axis=1) % 2 == 1
    return odd
