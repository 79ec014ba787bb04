"""The simulated camera: where a point of the tank falls on the picture, and back to a ray.

Written on its own so that a mistake in the measuring camera model cannot hide behind the same mistake here.
Tank frame: mm, z up, water at z = 0. Pixels (column, row), whole numbers are pixel centres. The camera looks along +z
of its own frame, x to the right, y down. Distortion: Brown, D. C., "Decentering distortion of lenses", 1966.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Eye:
    """A pinhole camera with radial (k1, k2, k3) and tangential (p1, p2) distortion."""

    width_px: int
    height_px: int
    f_px: float
    cx_px: float
    cy_px: float
    radial: tuple[float, float, float]
    tangential: tuple[float, float]
    rotation: Floats
    """(3, 3), tank to camera."""
    place_mm: Floats
    """(3,) the lens in the tank frame."""

    @property
    def translation_mm(self) -> Floats:
        """(3,) t of X_camera = R·X_tank + t."""
        moved: Floats = -self.rotation @ self.place_mm
        return moved

    def _bend(self, flat: Floats) -> Floats:
        """Distorted plane coordinates (N, 2) of ideal ones."""
        x, y = flat[:, 0], flat[:, 1]
        r2 = x * x + y * y
        k1, k2, k3 = self.radial
        p1, p2 = self.tangential
        gain = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
        return np.column_stack(
            [x * gain + 2 * p1 * x * y + p2 * (r2 + 2 * x * x), y * gain + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y]
        )

    def see(self, points_mm: ArrayLike) -> Floats:
        """Pixels (N, 2) of tank points (N, 3) mm in front of the camera, in air."""
        points = np.asarray(points_mm, np.float64).reshape(-1, 3)
        inside = (points - self.place_mm) @ self.rotation.T
        bent = self._bend(inside[:, :2] / inside[:, 2:])
        return bent * self.f_px + (self.cx_px, self.cy_px)

    def look(self, pixels: ArrayLike) -> Floats:
        """Directions (N, 3) in the tank frame of the rays through `pixels` (N, 2); not of unit length."""
        seen = (np.asarray(pixels, np.float64).reshape(-1, 2) - (self.cx_px, self.cy_px)) / self.f_px
        flat = seen.copy()
        for _ in range(12):
            flat = flat - (self._bend(flat) - seen) / self._gain(flat)
        return np.column_stack([flat, np.ones(len(flat))]) @ self.rotation

    def _gain(self, flat: Floats) -> Floats:
        """(N, 1) radial derivative of the distortion, enough for the root search to contract fast."""
        r2 = (flat * flat).sum(axis=1, keepdims=True)
        k1, k2, k3 = self.radial
        return np.asarray(np.maximum(1.0 + r2 * (3 * k1 + r2 * (5 * k2 + r2 * 7 * k3)), 0.2))

    def on_plane(self, pixels: ArrayLike, *, z_mm: float) -> Floats:
        """Tank points (N, 2) mm at height `z_mm` that are seen at `pixels`."""
        rays = self.look(pixels)
        reach = (z_mm - self.place_mm[2]) / rays[:, 2:]
        points: Floats = self.place_mm[:2] + reach * rays[:, :2]
        return points


def looking_down(*, tilt_x_rad: float, tilt_y_rad: float, turn_rad: float) -> Floats:
    """Rotation (3, 3) of a camera that looks straight down, then is turned about its axis and tilted about x and y."""
    down = np.diag([1.0, -1.0, -1.0])
    return _about_x(tilt_x_rad) @ _about_y(tilt_y_rad) @ _about_z(turn_rad) @ down


def _about_x(angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def _about_y(angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])


def _about_z(angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
