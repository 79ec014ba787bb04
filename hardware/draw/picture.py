"""Pictures of solids: seen from above and in front, in parallel, light from the left, lines where faces meet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from hardware.draw.shapes import Floats, Solid, mesh_of

Image: TypeAlias = NDArray[np.uint8]

FINE = 2
"""Drawn so many times larger, then made smaller."""
PAPER = (255, 255, 255)
LIGHT = np.array([-0.45, -0.55, 0.7]) / np.linalg.norm([-0.45, -0.55, 0.7])


@dataclass(frozen=True, slots=True)
class Seen:
    """A solid in a scene."""

    solid: Solid
    colour: tuple[int, int, int]
    """Red, green, blue; each 0 to 255 levels."""
    opacity: float = 1.0
    """Of dimension one; what is below 1 hides nothing."""


def picture(
    scene: Sequence[Seen], *, turn_deg: float = 35.0, rise_deg: float = 30.0, size_px: tuple[int, int] = (400, 300)
) -> Image:
    """The scene as (height, width, 3), blue, green, red.

    Args:
        scene: What stands there.
        turn_deg: From which side, about z; 0 is from the front (against y).
        rise_deg: From how high above the horizon.
        size_px: Width and height.
    """
    view = _view(turn_deg, rise_deg)
    meshes = [(mesh_of(seen.solid), seen) for seen in scene]
    every = np.concatenate([corners @ view.T for (corners, _), _ in meshes])
    width, height = (n * FINE for n in size_px)
    low, high = every.min(0), every.max(0)
    scale = min(0.9 * width / (high[0] - low[0]), 0.9 * height / (high[1] - low[1]))
    shift = np.array([width / 2, height / 2]) - scale * np.array([low[0] + high[0], -low[1] - high[1]]) / 2
    canvas = _Canvas(width, height, view)
    for (corners, triangles), seen in sorted(meshes, key=lambda m: -m[1].opacity):
        turned = corners @ view.T
        right, down = shift[0] + scale * turned[:, 0], shift[1] - scale * turned[:, 1]
        places = np.column_stack([right, down, scale * turned[:, 2]])
        canvas.put(places, corners, triangles, seen)
    return canvas.finished()


def _view(turn_deg: float, rise_deg: float) -> Floats:
    turn, rise = np.radians([turn_deg, rise_deg])
    about_z = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    # x to the right, second row upwards in the picture, third towards the eye
    tilt = np.array([[1, 0, 0], [0, np.sin(rise), np.cos(rise)], [0, -np.cos(rise), np.sin(rise)]])
    view: Floats = tilt @ about_z
    return view


class _Canvas:
    """What has been drawn, how near it is, and which way it faces."""

    def __init__(self, width: int, height: int, view: Floats) -> None:
        self._image = np.full((height, width, 3), PAPER, np.float32)
        self._near = np.full((height, width), -np.inf)
        self._facing = np.zeros((height, width, 3), np.float32)
        self._view = view

    def put(self, places: Floats, corners: Floats, triangles: NDArray[np.int64], seen: Seen) -> None:
        a, b, c = (corners[triangles[:, i]] for i in range(3))
        normals = np.cross(b - a, c - a)
        length = np.linalg.norm(normals, axis=1)
        good = length > 1e-9
        normals[good] /= length[good, None]
        towards = normals @ self._view[2]
        colour = np.array(seen.colour[::-1], np.float32)
        for index in np.flatnonzero(good & (towards > 1e-6)):
            bright = 0.45 + 0.55 * max(0.0, float(normals[index] @ LIGHT))
            self._triangle(places[triangles[index]], bright * colour, normals[index], seen.opacity)

    def _triangle(self, p: Floats, colour: NDArray[np.float32], normal: Floats, opacity: float) -> None:
        height, width = self._near.shape
        x0, y0 = np.maximum(np.floor(p[:, :2].min(0)).astype(int), 0)
        x1, y1 = np.minimum(np.ceil(p[:, :2].max(0)).astype(int) + 1, (width, height))
        area = (p[1, 0] - p[0, 0]) * (p[2, 1] - p[0, 1]) - (p[2, 0] - p[0, 0]) * (p[1, 1] - p[0, 1])
        if x0 >= x1 or y0 >= y1 or abs(area) < 1e-9:
            return
        x, y = np.meshgrid(np.arange(x0, x1), np.arange(y0, y1))
        second = ((x - p[0, 0]) * (p[2, 1] - p[0, 1]) - (p[2, 0] - p[0, 0]) * (y - p[0, 1])) / area
        third = ((p[1, 0] - p[0, 0]) * (y - p[0, 1]) - (x - p[0, 0]) * (p[1, 1] - p[0, 1])) / area
        near = p[0, 2] + second * (p[1, 2] - p[0, 2]) + third * (p[2, 2] - p[0, 2])
        part = np.s_[y0:y1, x0:x1]
        shown = (second >= -1e-3) & (third >= -1e-3) & (second + third <= 1 + 1e-3) & (near > self._near[part])
        self._image[part][shown] = (1 - opacity) * self._image[part][shown] + opacity * colour
        if opacity == 1:
            self._near[part][shown] = near[shown]
            self._facing[part][shown] = normal

    def finished(self) -> Image:
        """With lines where the direction of the face or the nearness jumps, made smaller."""
        edge = np.zeros(self._near.shape, bool)
        near = np.where(np.isfinite(self._near), self._near, self._near[np.isfinite(self._near)].min() - 1e3)
        for axis in (0, 1):
            turned = (self._facing * np.roll(self._facing, 1, axis)).sum(2) < 0.85
            edge |= turned | (np.abs(near - np.roll(near, 1, axis)) > 12.0 * FINE)
        drawn = np.isfinite(self._near)
        edge &= drawn | np.roll(drawn, 1, 0) | np.roll(drawn, 1, 1)
        self._image[edge] *= 0.25
        height, width = edge.shape
        small = cv2.resize(self._image, (width // FINE, height // FINE), interpolation=cv2.INTER_AREA)
        return np.clip(np.rint(small), 0, 255).astype(np.uint8)
