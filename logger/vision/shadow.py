"""The boat's shadow on the floor of the tank, seen through the water.

It is the boat's own outline, soft, thrown by a lamp far away: on the floor it lies at one and the same offset from the
boat all along the run. Seen through the water at depth d it moves against the boat like a thing at height -d/n (n the
refractive index, rays near the vertical), so with the lens H above the water its apparent place on the water is

    p + offset - depth_share·(p - c),     depth_share = (d/n)/(H + d/n),   c the foot point

and it is smaller by the same share. On the side that faces the foot point it sticks out from under the hull, just where
the side wall is seen: unmodelled, it passes for a wall and spoils the freeboard.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

_GRID_MM = 2.0
_MARGIN_MM = 90.0


@dataclass(frozen=True, slots=True, eq=False)
class Shadow:
    """One shadow for a whole run."""

    offset_mm: Floats
    """(2,) on the floor from the boat's centroid, tank frame."""
    depth_share: float
    darkness: float
    """Share of the water's light that is missing in its core; 0: no shadow."""
    softness_mm: float
    """Standard deviation of its edge."""

    def moved(self, place_mm: Floats, heading_rad: Floats, foot_mm: Floats) -> Floats:
        """(N, 2) where the shadow's centre lies, boat frame, for boats at `place_mm` (N, 2) and `heading_rad` (N,)."""
        shift = self.offset_mm - self.depth_share * (place_mm - foot_mm)
        c, s = np.cos(heading_rad), np.sin(heading_rad)
        return np.column_stack([c * shift[:, 0] + s * shift[:, 1], -s * shift[:, 0] + c * shift[:, 1]])

    def share(self, distance: Distance, points_mm: Floats, centre_mm: Floats) -> Singles:
        """(N, ...) how deep in the shadow `points_mm` (..., 2) of the boat frame are, for centres (N, 2)."""
        smaller = 1 - self.depth_share
        middle = centre_mm.reshape(-1, *(1,) * (points_mm.ndim - 1), 2)
        x, y = (
            (points_mm[None, ..., axis].astype(np.float32) - middle[..., axis].astype(np.float32)) / np.float32(smaller)
            for axis in (0, 1)
        )
        deep: Singles = ndtr(distance.at(x, y) * np.float32(-smaller / self.softness_mm))
        return deep


class Distance:
    """Signed distance from a convex outline, mm, negative inside, tabled on a grid of the boat frame."""

    def __init__(self, edge_mm: Floats, normal: Floats) -> None:
        low, high = edge_mm.min(axis=0) - _MARGIN_MM, edge_mm.max(axis=0) + _MARGIN_MM
        columns, rows = np.ceil((high - low) / _GRID_MM).astype(int) + 1
        x, y = low[0] + _GRID_MM * np.arange(columns), low[1] + _GRID_MM * np.arange(rows)
        every = max(1, len(edge_mm) // 36)
        table = np.full((rows, columns), -np.inf, np.float32)
        along_x = (normal[:, :1] * (x - edge_mm[:, :1])).astype(np.float32)
        along_y = (normal[:, 1:] * (y - edge_mm[:, 1:])).astype(np.float32)
        for across, up in zip(along_x[::every], along_y[::every], strict=True):
            np.maximum(table, across[None, :] + up[:, None], out=table)
        self._table, self._low = table, low

    def at(self, x_mm: Floats | Singles, y_mm: Floats | Singles) -> Singles:
        """Signed distance (N, ...) at points of at least two axes; beyond the grid's margin that of the margin."""
        u, v = (
            ((at.astype(np.float32) - np.float32(low)) * np.float32(1 / _GRID_MM)).reshape(len(at), -1)
            for at, low in zip((x_mm, y_mm), self._low, strict=True)
        )
        found = cv2.remap(self._table, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(found, np.float32).reshape(x_mm.shape)


NO_SHADOW = Shadow(np.zeros(2), 0.0, 0.0, 5.0)
