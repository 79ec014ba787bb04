"""What moving water does to a picture: the floor wavers, light gathers in lines, the lamp glints."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.simulator.background import GAMMA
from logger.simulator.ripples import BENDING, Surface, WaterGrid
from logger.simulator.scene import Scene
from logger.simulator.window import Picture

Floats = NDArray[np.float64]
_GRID_PX = 5
_GATHERING = 0.7
"""How sharply light gathers: less than 1, because a lamp is not a point."""


class Water:
    """The waves of one scene, worked out on every fifth pixel of the part of the picture that shows water."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        eye, basin = scene.eye, scene.basin
        corners = eye.see([(x, y, 0.0) for x, y in basin.outline_mm])
        low = np.maximum(np.floor(corners.min(axis=0)) - 8, 0).astype(int)
        high = np.minimum(np.ceil(corners.max(axis=0)) + 9, (eye.width_px, eye.height_px)).astype(int)
        self._columns, self._rows = slice(int(low[0]), int(high[0])), slice(int(low[1]), int(high[1]))
        size = (high - low).tolist()
        self._size: tuple[int, int] = (size[0], size[1])
        self._coarse = (-(-size[1] // _GRID_PX), -(-size[0] // _GRID_PX))
        v, u = np.mgrid[0 : self._coarse[0], 0 : self._coarse[1]]
        # cv2.resize takes pixels as areas: centres of coarse pixels lie at (i + 1/2)·scale − 1/2
        scale = (size[0] / self._coarse[1], size[1] / self._coarse[0])
        pixels = np.column_stack([(u.ravel() + 0.5) * scale[0] - 0.5, (v.ravel() + 0.5) * scale[1] - 0.5]) + low
        points = eye.on_plane(pixels, z_mm=0.0)
        self._points = points
        self._grid = WaterGrid(scene.waves, points)
        self._mirror = self._grid.mirror_slope(eye.place_mm)
        room = np.minimum(
            np.minimum(points[:, 0] - basin.back_mm, basin.front_mm - points[:, 0]),
            basin.half_width_mm - np.abs(points[:, 1]),
        )
        self._wet = np.clip(room / 10.0, 0.0, 1.0)
        pixel_per_mm = eye.f_px / eye.place_mm[2]
        self._bend = BENDING * basin.depth_mm * pixel_per_mm * eye.rotation[:2, :2]
        self._u, self._v = (axis.astype(np.float32) for axis in np.meshgrid(np.arange(size[0]), np.arange(size[1])))

    def moved(self, grey: Picture, t_s: float) -> Picture:
        """`grey` with its floor seen through the waves of `t_s`."""
        scene = self._scene
        length = float(np.ptp(scene.hull.outline_mm[:, 0]))
        surface = self._grid.at(t_s, (scene.voyage.pose([t_s])[0], float(scene.voyage.speed([t_s])[0]), length))
        if scene.gusts.strength:
            gain = scene.gusts.gain(self._points, t_s)
            surface = Surface(surface.slope * gain[:, None], surface.bend_per_mm * gain)
        slope = surface.slope * self._wet[:, None]
        shift = slope @ self._bend.T
        part = np.ascontiguousarray(grey[self._rows, self._columns])
        map_u, map_v = self._u + self._fine(shift[:, 0]), self._v + self._fine(shift[:, 1])
        seen = cv2.remap(part, map_u, map_v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        narrowing = _GATHERING * BENDING * scene.basin.depth_mm * surface.bend_per_mm * self._wet
        gathered = np.clip(1.0 / np.maximum(1.0 + narrowing, 0.3), 0.6, 2.0) ** (1 / GAMMA)
        seen = seen * self._fine(gathered)[..., None]
        if scene.waves.glint:
            off = ((surface.slope - self._mirror) ** 2).sum(axis=1)
            glint = scene.waves.glint * np.exp(-off / (2 * scene.waves.glint_width**2)) * self._wet
            seen = seen + 255.0 * self._fine(glint)[..., None]
        whole = grey.copy()
        whole[self._rows, self._columns] = np.minimum(seen, 255.0)
        return whole

    def _fine(self, coarse: Floats) -> Picture:
        """A value of the grid's points for every pixel."""
        picture = coarse.reshape(self._coarse).astype(np.float32)
        return np.asarray(cv2.resize(picture, self._size, interpolation=cv2.INTER_CUBIC), np.float32)
