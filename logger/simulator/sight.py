"""Where the parts of the boat are in a picture, each point at the time of its own picture row."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from logger.simulator.scene import Scene
from logger.simulator.snell import INDEX, surface_above

Floats = NDArray[np.float64]
BOTTOM_SCALE = 0.86
"""Bottom of a hull over its waterline."""


class Sight:
    """Projects boat-frame points of one scene."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        hull = scene.hull
        self._water = np.column_stack([hull.outline_mm, np.zeros(len(hull.outline_mm))])
        self._deck = np.column_stack([hull.deck_mm, np.full(len(hull.deck_mm), hull.freeboard_mm)])
        self._bottom = np.column_stack(
            [BOTTOM_SCALE * hull.outline_mm, np.full(len(hull.outline_mm), -hull.draught_mm)]
        )

    def waterline(self, t_s: float) -> Floats:
        """(M, 2) pixels; `t_s` is mid-exposure of the first picture row, here and below."""
        return self.project(self._water, t_s)

    def deck(self, t_s: float) -> Floats:
        """(M, 2) pixels of the deck's outline."""
        return self.project(self._deck, t_s)

    def bottom(self, t_s: float) -> Floats:
        """(M, 2) pixels of the hull's bottom, seen through the water."""
        return self.project(self._bottom, t_s)

    def shadow(self, points_mm: Floats, t_s: float, *, z_mm: float | None = None) -> Floats:
        """(M, 2) pixels of the shadow of boat-frame points (M, 3) on the floor, or on the plane at `z_mm`."""
        return self.project(points_mm, t_s, shadow=True, shadow_z_mm=z_mm)

    def deck_shadow(self, t_s: float) -> Floats:
        """(M, 2) pixels of the deck's shadow on the floor."""
        return self.shadow(self._deck, t_s)

    def project(
        self, points_mm: Floats, t_s: float, *, shadow: bool = False, shadow_z_mm: float | None = None
    ) -> Floats:
        """(M, 2) pixels of boat-frame points (M, 3), or of their shadow."""
        scene = self._scene
        line_s = scene.shutter.line_ns / 1e9
        times = np.full(len(points_mm), t_s + line_s * scene.eye.height_px / 2)
        for _ in range(3 if line_s else 1):
            places = self.places(points_mm, times)
            if shadow:
                places = self.thrown(places, shadow_z_mm)
            pixels = self.pixels(places)
            times = t_s + line_s * pixels[:, 1]
        return pixels

    def places(self, points_mm: Floats, times_s: Floats) -> Floats:
        """(M, 3) tank-frame places of boat-frame points, each at its own time."""
        voyage = self._scene.voyage
        pose = voyage.pose(times_s)
        x, y, z = points_mm.T
        if self._scene.tier.rock_deg:
            lively = np.minimum(voyage.speed(times_s) / 100.0, 1.0)
            roll, pitch = self._scene.rocking.lean(times_s, lively)
            x, y, z = x + pitch * z, y - roll * z, z - pitch * x + roll * y
        c, s = np.cos(pose[:, 2]), np.sin(pose[:, 2])
        there: Floats = np.column_stack([pose[:, 0] + c * x - s * y, pose[:, 1] + s * x + c * y, z])
        return there if self._scene.entry is None else there + self._scene.entry.offset_mm(times_s)

    def pixels(self, places_mm: Floats) -> Floats:
        """(M, 2) pixels of tank points (M, 3), above or below the water."""
        eye = self._scene.eye
        seen = places_mm.copy()
        under = seen[:, 2] < -1e-6
        if under.any():
            seen[under, :2] = surface_above(seen[under, :2], eye_mm=eye.place_mm, depth_mm=-seen[under, 2])
            seen[under, 2] = 0.0
        return eye.see(seen)

    def thrown(self, places_mm: Floats, z_mm: float | None) -> Floats:
        """Where the shadow of places (M, 3) falls: on the plane at `z_mm`, or through the water on the floor."""
        lamp, depth = self._scene.light, self._scene.basin.depth_mm
        away = -np.array([np.cos(lamp.from_rad), np.sin(lamp.from_rad)])
        floor = z_mm is None
        drop = np.maximum(places_mm[:, 2] - (0.0 if z_mm is None else z_mm), 0.0)
        under = depth * math.tan(math.asin(math.sin(math.atan(lamp.slant)) / INDEX)) if floor else 0.0
        fallen = places_mm[:, :2] + (drop * lamp.slant + under)[:, None] * away
        return np.column_stack([fallen, np.full(len(fallen), -depth if z_mm is None else z_mm)])
