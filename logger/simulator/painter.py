"""Frames: the still picture with the boat, its sides and its shadow drawn in, as the shutter sees them.

Each outline is projected point by point, each point at the time of its own picture row, and covers pixels exactly
(coverage.py); the exposure is an average over moments. What is mixed is light; the tone curve comes after.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.simulator import background
from logger.simulator.background import SOFTNESS_PX, Picture, linear, tone
from logger.simulator.boats import PAINTS
from logger.simulator.chance import stream
from logger.simulator.coverage import coverage
from logger.simulator.deck import Deck, deck_paint
from logger.simulator.scene import Scene
from logger.simulator.snell import surface_above

Floats = NDArray[np.float64]
_MARGIN_PX = 14
_NOISE_SPARE_PX = 48


class Painter:
    """Draws any frame of one scene. Holds the still picture and a stock of noise; frames may be asked in any order."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self.still = background.paint(scene)
        rng = stream(scene.seed, "noise")
        height, width = self.still.lamp.shape
        stock = rng.standard_normal((height + _NOISE_SPARE_PX, width + _NOISE_SPARE_PX, 3), dtype=np.float32)
        self._noise = stock
        drawn = rng.uniform(*scene.tier.noise_dn)
        self._noise_dn = float(drawn if scene.wishes.noise_dn is None else scene.wishes.noise_dn)
        # photons: the noise grows with the root of the light, on a floor of read-out noise
        self._sigma = (self._noise_dn * np.sqrt(0.3 + 0.7 * self.still.grey / 128.0)).astype(np.float32)
        self._deck: Deck = deck_paint(scene)

    def frame(self, number: int) -> NDArray[np.uint8]:
        """The picture (height, width, 3), blue green red, of frame `number` of the scene's shutter."""
        grey = self.still.grey.copy()
        self._draw_boat(grey, number)
        rng = np.random.default_rng([self._scene.seed, 77, number])
        top, left = rng.integers(0, _NOISE_SPARE_PX, 2)
        height, width = self.still.lamp.shape
        noise = cv2.multiply(self._noise[top : top + height, left : left + width], self._sigma)
        return np.asarray(cv2.add(grey, noise, dtype=cv2.CV_8U), np.uint8)

    def outlines_px(self, t_s: float) -> tuple[Floats, Floats]:
        """Waterline and deck outline (M, 2) in the picture, each point as the row it falls on sees it, mid-exposure.

        Args:
            t_s: start of exposure of the first row, seconds of the recording.
        """
        hull = self._scene.hull
        middle = t_s + self._scene.shutter.exposure_ns / 2e9
        water = self._projected(hull.outline_mm, middle, lambda points: self._raised(points, 0.0))
        deck = self._projected(hull.deck_mm, middle, lambda points: self._raised(points, hull.freeboard_mm))
        return water, deck

    def _raised(self, points: Floats, z_mm: float) -> Floats:
        return self._scene.eye.see(np.column_stack([points, np.full(len(points), z_mm)]))

    def _shadow(self, points: Floats) -> Floats:
        """Where the shadow of surface points falls on the floor, as seen through the water."""
        scene = self._scene
        lamp, depth = scene.light, scene.basin.depth_mm
        reach = depth * _under_water(lamp.slant)
        thrown = points - reach * np.array([np.cos(lamp.from_rad), np.sin(lamp.from_rad)])
        return self._raised(surface_above(thrown, eye_mm=scene.eye.place_mm, depth_mm=depth), 0.0)

    def _projected(self, outline_mm: Floats, t_s: float, see: Callable[[Floats], Floats]) -> Floats:
        """Pixels of a boat-frame outline whose every point is taken at the time of its own row."""
        line_s = self._scene.shutter.line_ns / 1e9
        times = np.full(len(outline_mm), t_s + line_s * self._scene.eye.height_px / 2)
        for _ in range(3):
            pose = self._scene.voyage.pose(times)
            c, s = np.cos(pose[:, 2]), np.sin(pose[:, 2])
            x = pose[:, 0] + c * outline_mm[:, 0] - s * outline_mm[:, 1]
            y = pose[:, 1] + s * outline_mm[:, 0] + c * outline_mm[:, 1]
            pixels = see(np.column_stack([x, y]))
            times = t_s + line_s * pixels[:, 1]
        return pixels

    def _draw_boat(self, grey: Picture, number: int) -> None:
        scene = self._scene
        begin_s = float(scene.shutter.begins_ns[number]) / 1e9
        water, deck = self.outlines_px(begin_s)
        middle = begin_s + scene.shutter.exposure_ns / 2e9
        shadow = self._projected(scene.hull.deck_mm, middle, self._shadow)
        everything = np.vstack([water, deck, shadow])
        left, top = (np.floor(everything.min(axis=0)).astype(int) - _MARGIN_PX).tolist()
        right, bottom = (np.ceil(everything.max(axis=0)).astype(int) + _MARGIN_PX).tolist()
        window = _Window(left, top, right - left, bottom - top)
        body, lid = self._masks(window, begin_s)
        shade = window.cover(shadow)
        blur = 0.8 + 0.03 * scene.basin.depth_mm * scene.eye.f_px / scene.eye.place_mm[2]
        shade = _softened(shade, blur)
        rows, columns, inner = window.within(grey.shape[:2])
        body, lid, shade = body[inner], lid[inner], shade[inner]
        lamp = self.still.lamp[rows, columns]
        under = self.still.light[rows, columns] * (1.0 - scene.light.shade * shade)[..., None]
        side = self._side_light(water, window, inner)
        top_paint = self._deck.seen(deck, window.left_px, window.top_px, window.width_px, window.height_px)[inner]
        colour = linear(PAINTS[scene.paint]).astype(np.float32)
        light = under * (1.0 - body)[..., None]
        light += (lamp * (body - lid) * side)[..., None] * colour
        light += (lamp * lid)[..., None] * top_paint
        grey[rows, columns] = tone(light)

    def _masks(self, window: _Window, begin_s: float) -> tuple[Picture, Picture]:
        """Covered shares of the whole silhouette and of the deck alone, averaged over the exposure."""
        scene = self._scene
        exposure_s = scene.shutter.exposure_ns / 1e9
        speed = float(scene.voyage.speed([begin_s])[0])
        blur_px = speed * exposure_s * scene.eye.f_px / scene.eye.place_mm[2]
        count = 1 + min(11, math.ceil(blur_px / 0.35)) if blur_px > 0.02 else 1
        body, lid = window.empty(), window.empty()
        for moment in (np.arange(count) + 0.5) / count:
            at_s = begin_s + (moment - 0.5) * exposure_s
            water, deck = self.outlines_px(at_s)
            lid += window.cover(deck)
            body += window.cover(_hull_of(np.vstack([water, deck])))
        body, lid = _softened(body / count, SOFTNESS_PX), _softened(lid / count, SOFTNESS_PX)
        return body, np.minimum(lid, body)

    def _side_light(self, water: Floats, window: _Window, inner: tuple[slice, slice]) -> Picture:
        """How bright the boat's side is: brighter where it faces the lamp."""
        rows, columns = np.mgrid[
            window.top_px : window.top_px + window.height_px, window.left_px : window.left_px + window.width_px
        ]
        middle = water.mean(axis=0)
        eye = self._scene.eye
        lamp = eye.rotation[:2, :2] @ np.array([np.cos(self._scene.light.from_rad), np.sin(self._scene.light.from_rad)])
        du, dv = columns - middle[0], rows - middle[1]
        facing = (du * lamp[0] + dv * lamp[1]) / np.maximum(np.hypot(du, dv), 1.0)
        return np.asarray(0.55 + 0.2 * facing, np.float32)[inner]


class _Window:
    """A piece of the picture, which may stick out of it."""

    def __init__(self, left_px: int, top_px: int, width_px: int, height_px: int) -> None:
        self.left_px, self.top_px, self.width_px, self.height_px = left_px, top_px, width_px, height_px

    def empty(self) -> Picture:
        return np.zeros((self.height_px, self.width_px), np.float32)

    def cover(self, polygon_px: Floats) -> Picture:
        return coverage(
            polygon_px, left_px=self.left_px, top_px=self.top_px, width_px=self.width_px, height_px=self.height_px
        )

    def within(self, shape: tuple[int, ...]) -> tuple[slice, slice, tuple[slice, slice]]:
        """Rows and columns of the picture that the window touches, and the part of the window that they are."""
        top, left = max(0, self.top_px), max(0, self.left_px)
        bottom, right = min(shape[0], self.top_px + self.height_px), min(shape[1], self.left_px + self.width_px)
        inner = (slice(top - self.top_px, bottom - self.top_px), slice(left - self.left_px, right - self.left_px))
        return slice(top, bottom), slice(left, right), inner


def _softened(mask: Picture, sigma_px: float) -> Picture:
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), sigma_px), np.float32)


def _hull_of(points: Floats) -> Floats:
    """The convex hull of points (N, 2); the silhouette of a body whose waterline and deck are convex."""
    hull: Floats = points[cv2.convexHull(points.astype(np.float32), returnPoints=False).ravel()]
    return hull


def _under_water(slant_in_air: float) -> float:
    """Tangent of a ray's angle from the vertical after it entered the water (Snell)."""
    sine = math.sin(math.atan(slant_in_air)) / 1.33299
    return math.tan(math.asin(sine))
