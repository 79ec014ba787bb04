"""One level plane above the water as a calibrated camera sees it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.vision.light import PLAIN, Tone

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
        spatial = np.full((len(flat), 3), self.z_mm)
        spatial[:, :2] = flat
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


def sample(picture: NDArray[np.uint8] | Singles, columns_px: Floats, rows_px: Floats, tone: Tone = PLAIN) -> Singles:
    """Light (...) at `columns_px` and `rows_px` (...), bilinear; NaN outside the picture.

    Args:
        picture: numbers of a camera (uint8), or light (float32).
        columns_px: at least two axes.
        rows_px: of the same shape.
        tone: what light a camera's numbers stand for.
    """
    u, v = (at.reshape(len(at), -1).astype(np.float32) for at in (columns_px, rows_px))
    levels = (
        _at(*_lit(picture, u, v, tone)) if picture.dtype == np.uint8 else _at(np.asarray(picture, np.float32), u, v)
    )
    return levels.reshape(columns_px.shape)


def _lit(picture: NDArray[np.uint8] | Singles, u: Singles, v: Singles, tone: Tone) -> tuple[Singles, Singles, Singles]:
    """The light of the part of the picture in which the points lie, and the points in it."""
    left, top = max(int(u.min()) - 1, 0), max(int(v.min()) - 1, 0)
    window = picture[top : max(int(v.max()) + 3, top), left : max(int(u.max()) + 3, left)]
    return tone.light(window.astype(np.uint8, copy=False)), u - np.float32(left), v - np.float32(top)


def _at(picture: Singles, u: Singles, v: Singles) -> Singles:
    if picture.size == 0:
        return np.full(u.shape, np.nan, np.float32)
    levels = cv2.remap(picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=float("nan"))
    return np.asarray(levels, np.float32)
