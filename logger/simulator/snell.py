"""How a mark under water appears from the air above it.

The camera is at height H above the water. A mark at depth d and horizontal distance r from the camera's foot point is
seen where its bent ray leaves the water, at distance x, with  r = x + d·tan(asin(sin(atan(x/H)) / n))  (Snell's law).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

INDEX = 1.33299
"""Water against air at 20 °C and 589.3 nm: 1.33335 (IAPWS R9-97, against vacuum) over 1.00027 (air)."""


def _sideways(x_mm: Floats, *, height_mm: float, depth_mm: float | Floats) -> Floats:
    """How far the bent ray that enters the water at distance `x_mm` travels sideways before depth `depth_mm`, mm."""
    sine = x_mm / np.hypot(x_mm, height_mm) / INDEX
    way: Floats = depth_mm * sine / np.sqrt(1.0 - sine * sine)
    return way


def floor_under(surface_mm: ArrayLike, *, eye_mm: Floats, depth_mm: float | Floats) -> Floats:
    """Floor points (N, 2) mm that are seen at the `surface_mm` points (N, 2) from the eye at `eye_mm` (3,)."""
    points = np.asarray(surface_mm, np.float64).reshape(-1, 2)
    out = points - eye_mm[:2]
    x = np.hypot(out[:, 0], out[:, 1])
    factor = 1.0 + _sideways(x, height_mm=float(eye_mm[2]), depth_mm=depth_mm) / np.maximum(x, 1e-9)
    return eye_mm[:2] + out * factor[:, None]


def surface_above(floor_mm: ArrayLike, *, eye_mm: Floats, depth_mm: float | Floats) -> Floats:
    """Where on the surface z = 0 points (N, 2) mm at `depth_mm` (one, or (N,)) are seen; by Newton's method."""
    points = np.asarray(floor_mm, np.float64).reshape(-1, 2)
    height = float(eye_mm[2])
    out = points - eye_mm[:2]
    r = np.hypot(out[:, 0], out[:, 1])
    x = r * INDEX * height / (INDEX * height + depth_mm)
    for _ in range(8):
        sine = x / np.hypot(x, height) / INDEX
        dsine = height**2 / (x * x + height**2) ** 1.5 / INDEX
        slope = 1.0 + depth_mm * dsine / (1.0 - sine * sine) ** 1.5
        x = x - (x + _sideways(x, height_mm=height, depth_mm=depth_mm) - r) / slope
    return eye_mm[:2] + out * (x / np.maximum(r, 1e-9))[:, None]
