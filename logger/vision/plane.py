"""One level plane above the water as a calibrated camera sees it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.vision.light import PLAIN, Tone

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

_ROOM_PX = 8
"""So far around what is asked for light is worked out: most ask again nearby."""


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
    if picture.dtype == np.uint8:
        return Light(picture.astype(np.uint8, copy=False), tone).at(columns_px, rows_px)
    return _at(np.asarray(picture, np.float32), columns_px, rows_px)


class Windowed(Protocol):
    """A picture (h, w) of which windows are looked at: an array, or what makes a window of it when it is asked for."""

    def __len__(self) -> int:
        """How many rows there are."""
        ...

    def __getitem__(self, window: tuple[slice, slice], /) -> NDArray[np.uint8]:
        """The numbers in a window of rows and columns."""
        ...


class Light:
    """The light of one picture, worked out only around where it is asked for."""

    def __init__(self, picture: Windowed, tone: Tone = PLAIN) -> None:
        self._picture, self._tone = picture, tone
        self._left = self._top = self._right = self._bottom = 0
        self._light: Singles | None = None

    def at(self, columns_px: Floats, rows_px: Floats) -> Singles:
        """As `sample`."""
        left, top = max(int(columns_px.min()) - 1, 0), max(int(rows_px.min()) - 1, 0)
        right, bottom = max(int(columns_px.max()) + 3, left), max(int(rows_px.max()) + 3, top)
        if self._light is not None:
            is_held = left >= self._left and top >= self._top and right <= self._right and bottom <= self._bottom
            left, top = min(left, self._left), min(top, self._top)
            right, bottom = max(right, self._right), max(bottom, self._bottom)
        if self._light is None or not is_held:
            self._left, self._top = max(left - _ROOM_PX, 0), max(top - _ROOM_PX, 0)
            self._right, self._bottom = right + _ROOM_PX, bottom + _ROOM_PX
            self._light = self._tone.light(self._picture[self._top : self._bottom, self._left : self._right])
        return _at(self._light, columns_px - self._left, rows_px - self._top)


def _at(picture: Singles, columns_px: Floats, rows_px: Floats) -> Singles:
    if picture.size == 0:
        return np.full(columns_px.shape, np.nan, np.float32)
    u, v = (at.reshape(len(at), -1).astype(np.float32) for at in (columns_px, rows_px))
    levels = cv2.remap(picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=float("nan"))
    return np.asarray(levels, np.float32).reshape(columns_px.shape)
