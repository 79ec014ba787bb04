"""Things under water, seen from above: where their light comes through the surface.

A ray from a point on the floor at depth d reaches a lens at height H above the still water through the surface point
at horizontal distance x from the lens's foot point; the floor point itself is at distance r in the same direction.
Snell's law at the surface, sin(air) = n·sin(water), gives with tan(air) = x/H

    r = x + d·x / sqrt(n²·(H² + x²) − x²)

which is explicit from x to r, and concave in x, so that Newton's method from below finds x from r without fail. Tilt
and lens do not enter: the displacement is radial about the foot point, not about the middle of the picture.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from calibration.lens import Floats

WATER_INDEX = 1.33299
"""Refractive index of water against air, 20 °C, 589.3 nm (IAPWS R9-97 divided by the index of air)."""

_STEPS = 50  # five are enough in a tank; the rest is for depths far beyond one


def seen_on_water(
    floor_mm: ArrayLike, *, camera_mm: ArrayLike, depth_mm: ArrayLike, index: float = WATER_INDEX
) -> Floats:
    """Where on the water plane (N, 2) a camera sees floor points (N, 2) that lie `depth_mm` deep.

    Tank frame, mm; one depth for all or (N,); `camera_mm` (3,) is the place of the lens above the water.
    ValueError for a negative depth.
    """
    floor, depth = _points_and_depths(floor_mm, depth_mm)
    foot, height = _foot_and_height(camera_mm)
    r = np.linalg.norm(floor - foot, axis=1)
    x = r * index * height / (index * height + depth)
    for _ in range(_STEPS):
        root = np.sqrt((index * height) ** 2 + (index**2 - 1) * x * x)
        step = (x + depth * x / root - r) / (1 + depth * (index * height) ** 2 / root**3)
        x = x - step
        if np.all(np.abs(step) <= 1e-13 * (1 + r)):
            break
    shrunk = np.divide(x, r, out=np.ones_like(r), where=r > 0)
    seen: Floats = foot + (floor - foot) * shrunk[:, None]
    return seen


def floor_under(seen_mm: ArrayLike, *, camera_mm: ArrayLike, depth_mm: ArrayLike, index: float = WATER_INDEX) -> Floats:
    """Where on the floor (N, 2) lies what is seen at `seen_mm` (N, 2) on the water plane; the inverse of the other."""
    seen, depth = _points_and_depths(seen_mm, depth_mm)
    foot, height = _foot_and_height(camera_mm)
    x2 = np.sum((seen - foot) ** 2, axis=1)
    stretch = 1 + depth / np.sqrt((index * height) ** 2 + (index**2 - 1) * x2)
    place: Floats = foot + (seen - foot) * stretch[:, None]
    return place


def _points_and_depths(points_mm: ArrayLike, depth_mm: ArrayLike) -> tuple[Floats, Floats]:
    points = np.asarray(points_mm, np.float64).reshape(-1, 2)
    depth = np.broadcast_to(np.asarray(depth_mm, np.float64), len(points))
    if not np.all(depth >= 0):
        raise ValueError(f"depth under water: found {depth.min():.6g} mm; 0 or more is wanted (it counts downwards)")
    return points, depth


def _foot_and_height(camera_mm: ArrayLike) -> tuple[Floats, float]:
    camera = np.asarray(camera_mm, np.float64)
    if not camera[2] > 0:
        raise ValueError(f"camera: found {camera[2]:.6g} mm above the water; a height above 0 is wanted")
    return camera[:2], float(camera[2])
