"""A piece of the picture that is being drawn in."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.simulator.coverage import coverage

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]


class Window:
    """A rectangle of whole pixels around some outlines; it may stick out of the picture."""

    def __init__(self, points_px: Floats, *, margin_px: int, limit: tuple[int, int]) -> None:
        """Lay it around `points_px` (N, 2), no farther than the margin beyond a picture of `limit` (rows, columns)."""
        rows, columns = limit
        low, high = np.floor(points_px.min(axis=0)) - margin_px, np.ceil(points_px.max(axis=0)) + margin_px
        left, top = np.clip(low, -margin_px, (columns, rows)).astype(int).tolist()
        right, bottom = np.clip(high, 0, (columns + margin_px, rows + margin_px)).astype(int).tolist()
        self.left_px, self.top_px = left, top
        self.width_px, self.height_px = max(1, right - left), max(1, bottom - top)
        inner_top, inner_left = max(0, top), max(0, left)
        self.rows = slice(inner_top, max(inner_top, min(rows, bottom)))
        self.columns = slice(inner_left, max(inner_left, min(columns, right)))
        self.inner = (
            slice(self.rows.start - top, self.rows.stop - top),
            slice(self.columns.start - left, self.columns.stop - left),
        )

    @property
    def seen(self) -> bool:
        """Whether any of it lies in the picture."""
        return bool(self.rows.stop > self.rows.start and self.columns.stop > self.columns.start)

    def empty(self) -> Picture:
        """A picture of nothing, as large as the window."""
        return np.zeros((self.height_px, self.width_px), np.float32)

    def cover(self, polygon_px: Floats) -> Picture:
        """Covered share of each pixel of the window."""
        return coverage(
            polygon_px, left_px=self.left_px, top_px=self.top_px, width_px=self.width_px, height_px=self.height_px
        )

    def hull(self, points_px: Floats) -> Picture:
        """Covered share of each pixel by the convex hull of points (N, 2)."""
        return self.cover(points_px[cv2.convexHull(points_px.astype(np.float32), returnPoints=False).ravel()])


def softened(mask: Picture, sigma_px: float) -> Picture:
    """`mask` seen through a lens, or a shadow's soft edge: a Gaussian of that standard deviation."""
    height, width = mask.shape
    if sigma_px > 4.0 and min(height, width) > 32:
        small = cv2.resize(mask, (width // 4, height // 4), interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), sigma_px / 4)
        return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), sigma_px), np.float32)
