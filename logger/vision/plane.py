"""One level plane above the water as a calibrated camera sees it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.vision.light import light

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """The plane z = `z_mm` of the tank frame under one camera."""

    view: View
    z_mm: float

    @property
    def foot_mm(self) -> Floats:
        """(2,) the point straight below the lens."""
        return self.view.pose.camera_mm[:2]

    @property
    def height_mm(self) -> float:
        """Height of the lens above the water (not above this plane)."""
        return float(self.view.pose.camera_mm[2])

    def pixels(self, points_mm: Floats) -> Floats:
        """Pixels (..., 2) of points (..., 2) mm on this plane."""
        flat = points_mm.reshape(-1, 2)
        spatial = np.column_stack([flat, np.full(len(flat), self.z_mm)])
        return self.view.to_pixels(spatial).reshape(points_mm.shape)

    def points(self, pixels: Floats) -> Floats:
        """Points (N, 2) mm on this plane at `pixels` (N, 2)."""
        return self.view.to_plane(pixels, z_mm=self.z_mm)

    def step_mm(self, at_mm: Floats) -> float:
        """Millimetres per pixel around a point (2,) of the plane."""
        corner = np.asarray(at_mm, np.float64) + np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 10.0]])
        seen = self.pixels(corner)
        stretch = float(np.linalg.norm(seen[1] - seen[0]) + np.linalg.norm(seen[2] - seen[0])) / 20
        return 1 / max(stretch, 1e-9)

    def lowered(self, points_mm: Floats, z_mm: float) -> Floats:
        """Where points (N, 2) of this plane lie if what was seen is at height `z_mm` in truth."""
        ratio = (self.height_mm - z_mm) / (self.height_mm - self.z_mm)
        moved: Floats = self.foot_mm + (points_mm - self.foot_mm) * ratio
        return moved


def sample(picture: NDArray[np.uint8] | Singles, pixels: Floats) -> Singles:
    """Light (...) at `pixels` (..., 2), bilinear; NaN outside the picture.

    Args:
        picture: numbers of a camera (uint8), or light (float32).
        pixels: (column, row), at least two axes.
    """
    shape = pixels.shape[:-1]
    flat = pixels.reshape(-1, 2)
    low = np.maximum(np.floor(flat.min(axis=0)).astype(int) - 1, 0)
    high = np.maximum(np.ceil(flat.max(axis=0)).astype(int) + 2, low + 2)
    window = picture[low[1] : high[1], low[0] : high[0]]
    if window.size == 0:
        return np.full(shape, np.nan, np.float32)
    grid = (pixels - low).reshape(shape[0], -1, 2).astype(np.float32)
    source = window if window.dtype == np.float32 else light(window.astype(np.uint8, copy=False))
    u, v = np.ascontiguousarray(grid[..., 0]), np.ascontiguousarray(grid[..., 1])
    levels = cv2.remap(source, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=float("nan"))
    return np.asarray(levels, np.float32).reshape(shape)
