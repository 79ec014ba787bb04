"""What the rig and the card say about the picture before anything is seen in it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import WATER_INDEX
from logger.config import Boat, Line, Rig, Tank
from logger.vision.background import Mask
from logger.vision.plane import Plane

Floats = NDArray[np.float64]

SHRINK = 4
"""How many times smaller the pictures are in which a boat is looked for."""
_ZONE_MARGIN_MM = 30.0
_WHOLE = (0.92, 1.2)
"""Size of a silhouette, as a share of the card's, that shows a whole boat with its sides."""


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What the rig knows of the picture: small masks, and which way a boat goes."""

    tank: Mask | None
    start_zone: Mask | None
    forward_rad: float
    size_mm: float | None
    """Square root of the boat's area, if the card has its length and width."""
    longest_mm: float | None
    told_mm: tuple[float | None, float | None] = (None, None)
    """Length and width on the card."""

    def is_whole(self, polygon_mm: Floats, axis_rad: float) -> bool:
        """Whether a silhouette (N, 2) of a long axis in that direction is of the size on the card, sides included."""
        if None in self.told_mm:
            return False
        c, s = np.cos(axis_rad), np.sin(axis_rad)
        size = np.ptp(polygon_mm @ np.array([[c, -s], [s, c]]), axis=0)
        shares = np.sort(size) / np.sort(np.array(self.told_mm, np.float64))
        return bool(((shares > _WHOLE[0]) & (shares < _WHOLE[1])).all())


def ground(rig: Rig, plane: Plane, boat: Boat) -> Ground:
    """Small masks of the tank and of its start zone, and which way boats go."""
    lens = plane.view.lens
    rows, columns = lens.height_px // SHRINK, lens.width_px // SHRINK
    points = places(plane, rows, columns)
    tank = inside(points, np.array(rig.tank.outline_mm)).reshape(rows, columns)
    start = rig.line("start")
    zone, forward = None, 0.0
    if start is not None:
        normal = _forward(start, rig)
        forward = float(np.arctan2(normal[1], normal[0]))
        zone = ((points - start.a_mm) @ normal < _ZONE_MARGIN_MM).reshape(rows, columns)
    size = longest = None
    if boat.length_mm is not None and boat.width_mm is not None:
        size = float(np.sqrt(0.85 * boat.length_mm * boat.width_mm))
        longest = max(boat.length_mm, boat.width_mm)
    return Ground(tank, zone, forward, size, longest, (boat.length_mm, boat.width_mm))


def places(plane: Plane, rows: int, columns: int) -> Floats:
    """(rows·columns, 2) where the pixels of a small picture lie on the plane, to a small part of a pixel.

    Every fourth is worked out, which is what takes time; the others lie evenly between.
    """
    u, v = np.linspace(0, columns - 1, columns // 4 + 2), np.linspace(0, rows - 1, rows // 4 + 2)
    pixels = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2) * SHRINK + (SHRINK - 1) / 2
    nodes = plane.points(pixels).reshape(len(v), len(u), 2).astype(np.float32)
    at_u = np.linspace(0, len(u) - 1, columns, dtype=np.float32)
    at_v = np.linspace(0, len(v) - 1, rows, dtype=np.float32)
    places = cv2.remap(nodes, *np.meshgrid(at_u, at_v), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(places, np.float64).reshape(-1, 2)


def within(mask: Mask | None, pixels: Floats) -> NDArray[np.bool_]:
    """Which points (N, 2) px of the whole picture a small mask has; beyond the picture, as at its border."""
    if mask is None:
        return np.ones(len(pixels), bool)
    small = np.floor((pixels + 0.5) / SHRINK).astype(int)
    found: NDArray[np.bool_] = mask[np.clip(small[:, 1], 0, len(mask) - 1), np.clip(small[:, 0], 0, mask.shape[1] - 1)]
    return found


def depth_share(tank: Tank, plane: Plane) -> float:
    """How much of the way to the foot point things on the floor seem moved on `plane` (rays near the vertical)."""
    seeming = tank.water_depth_mm / WATER_INDEX
    return 1 - (1 - plane.z_mm / plane.height_mm) * plane.height_mm / (plane.height_mm + seeming)


def inside(points: Floats, corners: Floats) -> NDArray[np.bool_]:
    """Which points (N, 2) lie within the polygon (crossing-number rule)."""
    inside = np.zeros(len(points), bool)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if a[1] == b[1]:
            continue
        crosses = (points[:, 1] > a[1]) != (points[:, 1] > b[1])
        inside ^= crosses & (points[:, 0] < a[0] + (points[:, 1] - a[1]) * (b[0] - a[0]) / (b[1] - a[1]))
    return inside


def _forward(start: Line, rig: Rig) -> Floats:
    """Unit normal of the start line toward the finish, or toward +x."""
    a, b = np.array(start.a_mm), np.array(start.b_mm)
    along = (b - a) / np.hypot(*(b - a))
    normal = np.array([along[1], -along[0]])
    goal = rig.line("finish") or rig.line("mark")
    ahead = (np.array(goal.a_mm) + goal.b_mm - a - b) / 2 if goal is not None else np.array([1.0, 0.0])
    return normal if normal @ ahead >= 0 else -normal
