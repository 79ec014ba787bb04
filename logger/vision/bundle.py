"""Where the camera sees the sample points along a hull's rays.

A ray is a few centimetres of straight line. In the picture it is a parabola to better than a thousandth of a pixel, so
three points of each ray are projected in earnest and the others are laid on the parabola through them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from logger.vision.plane import Plane

Floats = NDArray[np.float64]


class Bundle:
    """The rays of one hull, ready to be seen at any place."""

    def __init__(self, *, edge_mm: Floats, normal: Floats, offsets_mm: Floats) -> None:
        """Lay the rays down.

        Args:
            edge_mm: (M, 2) where each starts, boat frame.
            normal: (M, 2) unit vectors along them.
            offsets_mm: (K,) sample points on every ray, rising.
        """
        nodes = np.linspace(offsets_mm[0], offsets_mm[-1], 3)
        points = edge_mm[:, None] + nodes[:, None] * normal[:, None]
        self._x, self._y = points[..., 0].copy(), points[..., 1].copy()
        s = 2 * (offsets_mm - offsets_mm[0]) / (offsets_mm[-1] - offsets_mm[0])
        # Lagrange's parabola through s = 0, 1, 2
        self._between = np.stack([(s - 1) * (s - 2) / 2, s * (2 - s), s * (s - 1) / 2])

    def pixels(self, plane: Plane, place_mm: Floats, heading_rad: Floats) -> tuple[Floats, Floats]:
        """Columns and rows (N, M, K) for boats at `place_mm` (N, 2) and `heading_rad` (N,) on `plane`."""
        c, s = np.cos(heading_rad)[:, None, None], np.sin(heading_rad)[:, None, None]
        at = np.empty((len(place_mm), *self._x.shape, 2))
        at[..., 0] = c * self._x - s * self._y + place_mm[:, 0, None, None]
        at[..., 1] = s * self._x + c * self._y + place_mm[:, 1, None, None]
        seen = plane.pixels(at)
        return seen[..., 0] @ self._between, seen[..., 1] @ self._between
