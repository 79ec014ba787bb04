"""Pixel <-> ray: the pinhole camera with Brown's distortion, and the fisheye for very wide lenses.

Pixel coordinates are (column u, row v); whole numbers are pixel centres, so the top-left pixel's centre is (0, 0).
Camera frame: x right, y down, z forward (the usual computer-vision convention).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias, get_args

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

LENS_PARAMETERS = ("fx_px", "fy_px", "cx_px", "cy_px", "k1", "k2", "p1", "p2", "k3")
"""The order of a lens's parameters in every vector and covariance."""

LensModel: TypeAlias = Literal["brown", "fisheye"]
LENS_MODELS: tuple[LensModel, ...] = get_args(LensModel)

_NEWTON_STEPS_COUNT = 30


@dataclass(frozen=True, slots=True)
class Lens:
    """Intrinsic parameters of one camera at one picture size.

    `model` "brown": distortion after Brown (1966) as OpenCV writes it, radial k1, k2, k3 and tangential p1, p2.

    `model` "fisheye": a ray that is an angle θ off the axis is seen at the radius θ·(1 + k1·θ² + k2·θ⁴ + k3·θ⁶), after
    Kannala and Brandt (2006) as OpenCV's fisheye module writes it, with its k4 = 0; p1 and p2 have no meaning there and
    are 0. Rays of 90 degrees and more off the axis cannot be written with z = 1; a lens whose picture reaches them is
    not `is_one_to_one`.

    A distortion can be so strong that it folds: beyond some radius the picture turns back, two rays lead to one pixel,
    and no ray leads to the corners. This class does not refuse such a lens, and its `rays` mean nothing there, without
    a warning. Whoever takes a lens from outside asks `is_one_to_one` and refuses it: reading camera.toml and fitting a
    lens both end in a CalibrationError that says so.
    """

    width_px: int
    height_px: int
    fx_px: float
    fy_px: float
    cx_px: float
    cy_px: float
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    k3: float = 0.0
    model: LensModel = "brown"

    @property
    def matrix(self) -> Floats:
        """The 3x3 camera matrix."""
        return np.array([[self.fx_px, 0, self.cx_px], [0, self.fy_px, self.cy_px], [0, 0, 1]], np.float64)

    @property
    def distortion(self) -> Floats:
        """(k1, k2, p1, p2, k3); of Brown's model they are what OpenCV takes."""
        return np.array([self.k1, self.k2, self.p1, self.p2, self.k3], np.float64)

    @property
    def middle_px(self) -> tuple[float, float]:
        """The middle of the picture (u, v), which is near the optical centre but not it."""
        return (self.width_px - 1) / 2, (self.height_px - 1) / 2

    def is_one_to_one(self) -> bool:
        """Whether every pixel of the picture's border leads to a ray and back; a folded distortion does not."""
        u, v = np.linspace(-0.5, self.width_px - 0.5, 17), np.linspace(-0.5, self.height_px - 0.5, 17)
        sides = [(u, 0 * u + v[0]), (u, 0 * u + v[-1]), (0 * v + u[0], v), (0 * v + u[-1], v)]
        border = np.concatenate([np.column_stack(side) for side in sides])
        with np.errstate(all="ignore"):
            back = self.pixels(self.rays(border))
        return bool(np.nan_to_num(np.abs(back - border), nan=np.inf).max() < 0.01)

    def rays(self, pixels: ArrayLike) -> Floats:
        """Directions (N, 3) in the camera frame, with z = 1, of `pixels` (N, 2), for a lens that `is_one_to_one`."""
        if self.model == "fisheye":
            return self._fisheye_rays(np.asarray(pixels, np.float64).reshape(-1, 2))
        points = np.asarray(pixels, np.float64).reshape(-1, 1, 2)
        criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 40, 1e-12)
        flat = cv2.undistortPoints(points, self.matrix, self.distortion, criteria=criteria).reshape(-1, 2)
        return np.column_stack([flat, np.ones(len(flat))])

    def pixels(self, points: ArrayLike) -> Floats:
        """Pixels (N, 2) of `points` (N, 3) in the camera frame, z > 0."""
        p = np.asarray(points, np.float64).reshape(-1, 3)
        x, y = p[:, 0] / p[:, 2], p[:, 1] / p[:, 2]
        if self.model == "fisheye":
            _, shrunk, _ = self._fisheye(np.hypot(x, y))
            return np.column_stack([self.fx_px * shrunk * x + self.cx_px, self.fy_px * shrunk * y + self.cy_px])
        r2 = x * x + y * y
        radial = 1 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3))
        xd = x * radial + 2 * self.p1 * x * y + self.p2 * (r2 + 2 * x * x)
        yd = y * radial + self.p1 * (r2 + 2 * y * y) + 2 * self.p2 * x * y
        return np.column_stack([self.fx_px * xd + self.cx_px, self.fy_px * yd + self.cy_px])

    def jacobian(self, rays: ArrayLike) -> Floats:
        """d(u, v)/d(x, y), (N, 2, 2), at the directions `rays` (N, 3) with z = 1: how pixels follow rays."""
        x, y = np.asarray(rays, np.float64).reshape(-1, 3)[:, :2].T
        if self.model == "fisheye":
            return self._fisheye_jacobian(x, y)
        r2 = x * x + y * y
        radial = 1 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3))
        slope = 2 * (self.k1 + r2 * (2 * self.k2 + 3 * self.k3 * r2))
        cross = slope * x * y + 2 * self.p1 * x + 2 * self.p2 * y
        along_x = radial + slope * x * x + 2 * self.p1 * y + 6 * self.p2 * x
        along_y = radial + slope * y * y + 6 * self.p1 * y + 2 * self.p2 * x
        return np.stack(
            [
                np.stack([self.fx_px * along_x, self.fx_px * cross], -1),
                np.stack([self.fy_px * cross, self.fy_px * along_y], -1),
            ],
            -2,
        )

    def _bent(self, angle_rad: Floats) -> tuple[Floats, Floats]:
        """Radius in focal lengths, and its slope, of rays that are `angle_rad` off the axis."""
        t2 = angle_rad * angle_rad
        radius = angle_rad * (1 + t2 * (self.k1 + t2 * (self.k2 + t2 * self.k3)))
        slope = 1 + t2 * (3 * self.k1 + t2 * (5 * self.k2 + 7 * t2 * self.k3))
        return radius, slope

    def _fisheye(self, r: Floats) -> tuple[Floats, Floats, Floats]:
        """Of rays at the distance `r` from the axis at z = 1: radius seen, radius seen / r, d(radius seen)/dr."""
        radius, slope = self._bent(np.arctan(r))
        near = r < 1e-9
        shrunk = np.where(near, 1.0, radius / np.where(near, 1.0, r))
        return radius, shrunk, slope / (1 + r * r)

    def _fisheye_rays(self, pixels: Floats) -> Floats:
        """NaN where Newton's method does not come to rest between 0 and 90 degrees."""
        x, y = ((pixels - (self.cx_px, self.cy_px)) / (self.fx_px, self.fy_px)).T
        seen = np.hypot(x, y)
        angle = np.minimum(seen, 1.5)
        for _ in range(_NEWTON_STEPS_COUNT):
            radius, slope = self._bent(angle)
            angle = np.clip(angle - (radius - seen) / np.where(np.abs(slope) > 1e-3, slope, 1e-3), 0, 2.0)
        off = np.abs(self._bent(angle)[0] - seen)
        grown = np.where((off < 1e-9) & (angle < np.pi / 2 - 1e-3), np.tan(angle), np.nan)
        scale = np.where(seen < 1e-9, 1.0, grown / np.where(seen < 1e-9, 1.0, seen))
        return np.column_stack([x * scale, y * scale, np.ones(len(x))])

    def _fisheye_jacobian(self, x: Floats, y: Floats) -> Floats:
        r = np.hypot(x, y)
        _, shrunk, slope = self._fisheye(r)
        r2 = np.where(r < 1e-9, 1.0, r * r)
        turn = (slope - shrunk) / r2
        rows = [[shrunk + turn * x * x, turn * x * y], [turn * x * y, shrunk + turn * y * y]]
        focal = np.array([self.fx_px, self.fy_px])
        jacobian: Floats = np.moveaxis(np.array(rows), -1, 0) * focal[:, None]
        return jacobian


def moved_lens(lens: Lens, change: Floats) -> Lens:
    """The lens with `change` (9,) added to its parameters, in the order of LENS_PARAMETERS."""
    return replace(lens, **{n: getattr(lens, n) + float(d) for n, d in zip(LENS_PARAMETERS, change, strict=True)})
