"""Frames: the still picture with shadows, moving water, boat, sail and visitors drawn in, as the shutter sees them.

Each outline is projected point by point, each point at the time of its own picture row, and covers pixels exactly
(coverage.py); the exposure is an average over moments. What is mixed is light; the tone curve comes after.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.simulator import background
from logger.simulator.background import GAMMA, SOFTNESS_PX, linear, tone
from logger.simulator.boats import PAINTS
from logger.simulator.chance import stream
from logger.simulator.deck import deck_paint
from logger.simulator.sail import SAIL_PAINTS, Sail
from logger.simulator.scene import Scene
from logger.simulator.sight import Sight
from logger.simulator.tag_paint import TagPaint
from logger.simulator.visitors import Patch
from logger.simulator.water import Water
from logger.simulator.window import Picture, Window, softened

Floats = NDArray[np.float64]
_MARGIN_PX = 14
_NOISE_SPARE_PX = 48
_ROOM_PX = 4
"""Shadows of the room are worked out on every fourth pixel: they are soft."""


class Painter:
    """Draws any frame of one scene. Holds the still picture and a stock of noise; frames may be asked in any order."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self.still = background.paint(scene)
        self.sight = Sight(scene)
        self._limit = self.still.lamp.shape
        height, width = self._limit
        rng = stream(scene.seed, "noise")
        self._noise = rng.standard_normal((height + _NOISE_SPARE_PX, width + _NOISE_SPARE_PX, 3), dtype=np.float32)
        drawn = rng.uniform(*scene.tier.noise_dn)
        noise_dn = drawn if scene.wishes.noise_dn is None else scene.wishes.noise_dn
        # photons: the noise grows with the root of the light, on a floor of read-out noise
        self._sigma = (noise_dn * np.sqrt(0.3 + 0.7 * self.still.grey / 128.0)).astype(np.float32)
        self._deck = deck_paint(scene)
        if scene.room:
            rows, columns = np.mgrid[0 : height // _ROOM_PX, 0 : width // _ROOM_PX]
            centres = np.column_stack([columns.ravel(), rows.ravel()]) * _ROOM_PX + (_ROOM_PX - 1) / 2
            self._room_mm = scene.eye.on_plane(centres, z_mm=0.0)
        self._tag = None if scene.tag is None else TagPaint(scene, scene.tag, self.sight)
        self._water = None if scene.waves.still else Water(scene)

    def frame(self, number: int) -> NDArray[np.uint8]:
        """The picture (height, width, 3), blue green red, of frame `number` of the scene's shutter."""
        scene = self._scene
        exposure_s = scene.shutter.exposure_ns / 1e9
        first_s = float(scene.shutter.begins_ns[number]) / 1e9 + exposure_s / 2
        middle_s = first_s + scene.shutter.line_ns / 1e9 * scene.eye.height_px / 2
        grey = self.still.grey.copy()
        patches = [(visitor.above, visitor.patches(middle_s)) for visitor in scene.visitors]
        self._shadows(grey, first_s, [patch for _, some in patches for patch in some])
        if self._water is not None:
            grey = self._water.moved(grey, middle_s)
        for above, some in patches:
            if not above:
                self._draw_patches(grey, some)
        if scene.entry is None or scene.entry.in_sight(first_s):
            self._draw_boat(grey, first_s)
        for above, some in patches:
            if above:
                self._draw_patches(grey, some)
        if scene.room:
            grey *= self._room_light(middle_s)[..., None]
        return self._developed(grey, number, first_s, exposure_s)

    def _room_light(self, t_s: float) -> Picture:
        """(height, width) factor of grey values: what people and blinds leave of the light, on the water's plane."""
        height, width = self._limit
        left = np.ones(len(self._room_mm))
        for shadow in self._scene.room:
            left = left * shadow.left(self._room_mm, t_s)
        coarse = (left ** (1 / GAMMA)).reshape(height // _ROOM_PX, width // _ROOM_PX).astype(np.float32)
        return np.asarray(cv2.resize(coarse, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)

    def _developed(self, grey: Picture, number: int, first_s: float, exposure_s: float) -> NDArray[np.uint8]:
        """Changing light, a knocked stand, noise, and whole grey values."""
        scene = self._scene
        height, width = self._limit
        if not scene.light_change.steady:
            times = first_s + np.arange(height) * scene.shutter.line_ns / 1e9
            rows = scene.light_change.rows(times, exposure_s=exposure_s) ** (1 / GAMMA)
            columns = scene.light_change.columns(np.linspace(-1, 1, width), float(times[height // 2])) ** (1 / GAMMA)
            grey *= (rows[:, None] * columns[None, :]).astype(np.float32)[..., None]
            np.minimum(grey, 255.0, out=grey)
        if scene.bump is not None:
            u, v = scene.bump.shift_px(first_s)
            if abs(u) + abs(v) > 1e-3:
                move = np.array([[1.0, 0.0, u], [0.0, 1.0, v]])
                moved = cv2.warpAffine(grey, move, (width, height), borderMode=cv2.BORDER_REPLICATE)
                grey = np.asarray(moved, np.float32)
        rng = np.random.default_rng([scene.seed, 77, number])
        top, left = rng.integers(0, _NOISE_SPARE_PX, 2)
        noise = cv2.multiply(self._noise[top : top + height, left : left + width], self._sigma)
        return np.asarray(cv2.add(grey, noise, dtype=cv2.CV_8U), np.uint8)

    def outlines_px(self, t_s: float) -> tuple[Floats, Floats]:
        """Waterline and deck outline (M, 2) in the picture, each point as the row it falls on sees it.

        Args:
            t_s: mid-exposure of the first row, seconds of the recording.
        """
        return self.sight.waterline(t_s), self.sight.deck(t_s)

    def _shadows(self, grey: Picture, first_s: float, patches: list[Patch]) -> None:
        """Darken the floor under boat, sail and visitors."""
        scene, sight = self._scene, self.sight
        there = scene.entry is None or scene.entry.in_sight(first_s)
        parts = [sight.deck_shadow(first_s)] if there else []
        if scene.sail is not None and there:
            parts.append(sight.shadow(scene.sail.cloth(first_s), first_s))
        spread = scene.light.spread
        soft = 0.8 + spread * 0.03 * scene.basin.depth_mm * scene.eye.f_px / scene.eye.place_mm[2]
        if parts:
            self._shade(grey, parts, soft, scene.light.shade)
        if patches:
            high = [self._patch_shadow(patch.outline_mm, patch.z_mm) for patch in patches]
            holes = [self._patch_shadow(p.hole_mm, p.z_mm) for p in patches if p.hole_mm is not None]
            self._shade(grey, high, (1.0 + 2.0 * spread) * soft, (1.0 - 0.4 * spread) * scene.light.shade, holes)

    def _patch_shadow(self, outline_mm: Floats, z_mm: float) -> Floats:
        places = np.column_stack([outline_mm, np.full(len(outline_mm), z_mm)])
        return self.sight.pixels(self.sight.thrown(places, None))

    def _shade(
        self, grey: Picture, outlines: list[Floats], soft_px: float, darkness: float, holes: list[Floats] | None = None
    ) -> None:
        window = Window(np.vstack(outlines), margin_px=_MARGIN_PX + round(2 * soft_px), limit=self._limit)
        if not window.seen:
            return
        mask = window.empty()
        for outline in outlines:
            np.maximum(mask, window.hull(outline), out=mask)
        for hole in holes or ():
            np.maximum(mask - window.hull(hole), 0.0, out=mask)
        kept = (1.0 - darkness * softened(mask, soft_px)[window.inner]) ** np.float32(1 / GAMMA)
        grey[window.rows, window.columns] *= kept[..., None]

    def _draw_patches(self, grey: Picture, patches: list[Patch]) -> None:
        if not patches:
            return
        seen = [
            (p, self._flat(p.outline_mm, p.z_mm), None if p.hole_mm is None else self._flat(p.hole_mm, p.z_mm))
            for p in patches
        ]
        window = Window(np.vstack([outline for _, outline, _ in seen]), margin_px=_MARGIN_PX, limit=self._limit)
        if not window.seen:
            return
        light = self._light(grey, window)
        lamp = self.still.lamp[window.rows, window.columns]
        for patch, outline, hole in seen:
            mask = window.cover(outline)
            if hole is not None:
                mask = mask - window.cover(hole)
            share = softened(mask, SOFTNESS_PX + 0.3)[window.inner]
            # round things are darker toward their rim
            round_off = 0.62 + 0.38 * softened(mask, 9.0)[window.inner]
            paint = (lamp * round_off)[..., None] * linear(patch.colour).astype(np.float32)
            light += share[..., None] * (paint - light)
        grey[window.rows, window.columns] = tone(light)

    def _flat(self, outline_mm: Floats, z_mm: float) -> Floats:
        return self._scene.eye.see(np.column_stack([outline_mm, np.full(len(outline_mm), z_mm)]))

    def _light(self, grey: Picture, window: Window) -> Picture:
        """The light that grey values of a window stand for."""
        return np.asarray(cv2.pow(grey[window.rows, window.columns] / 255.0, GAMMA), np.float32)

    def _draw_boat(self, grey: Picture, first_s: float) -> None:
        scene = self._scene
        water, deck = self.outlines_px(first_s)
        sail = None if scene.sail is None else self._sail_outlines(scene.sail, first_s)
        sheet = () if self._tag is None else (self._tag.outline(first_s),)
        everything = np.vstack([water, deck, *(sail or ()), *sheet])
        window = Window(everything, margin_px=_MARGIN_PX, limit=self._limit)
        body, lid, wet = (mask[window.inner] for mask in self._masks(window, first_s))
        lamp = self.still.lamp[window.rows, window.columns]
        side = self._side_light(water, window)
        colour = linear(PAINTS[scene.paint]).astype(np.float32)
        light = self._light(grey, window)
        veiled = 0.75 * (lamp * side)[..., None] * colour + 0.12 * light
        top = self._deck.seen(deck, window, self._turn(first_s))[window.inner]
        light = light * (1.0 - body - wet)[..., None]
        light += veiled * wet[..., None]
        light += (lamp * (body - lid) * side)[..., None] * colour
        light += (lamp * lid * self._shaded(window, first_s, scene.hull.freeboard_mm))[..., None] * top
        if self._tag is not None and scene.tag is not None:
            lit = lamp * self._shaded(window, first_s, scene.tag.height_mm)
            self._tag.lay(light, window, first_s + self._moments_s(first_s), lit=lit)
        if sail is not None and scene.sail is not None:
            cloth, mast = (softened(window.hull(part), SOFTNESS_PX)[window.inner] for part in sail)
            fabric = linear(SAIL_PAINTS[scene.sail.paint]).astype(np.float32)
            light += cloth[..., None] * (0.85 * lamp[..., None] * fabric - light)
            light += mast[..., None] * (lamp[..., None] * np.float32(0.25) - light)
        grey[window.rows, window.columns] = tone(light)

    def _turn(self, first_s: float) -> float:
        """Where along its way the boat is, as an angle: foil sparkles differently in every place."""
        return float(self._scene.voyage.pose([first_s])[0, 0]) / 60.0 if self._scene.tier.underwater else 0.0

    def _sail_outlines(self, sail: Sail, first_s: float) -> tuple[Floats, Floats]:
        mast = sail.mast(self._scene.hull.freeboard_mm)
        return self.sight.project(sail.cloth(first_s), first_s), self.sight.project(mast, first_s)

    def _shaded(self, window: Window, first_s: float, z_mm: float) -> Picture | float:
        """How much of the lamp's light the sail leaves to what lies at that height."""
        sail = self._scene.sail
        if sail is None:
            return 1.0
        fallen = self.sight.shadow(sail.cloth(first_s), first_s, z_mm=z_mm)
        return 1.0 - 0.8 * self._scene.light.shade * softened(window.hull(fallen), 2.0)[window.inner]

    def _moments_s(self, first_s: float) -> Floats:
        """(N,) moments of the exposure, from its middle: as many as the boat's speed asks for."""
        scene = self._scene
        exposure_s = scene.shutter.exposure_ns / 1e9
        speed = float(scene.voyage.speed([first_s])[0])
        blur_px = speed * exposure_s * scene.eye.f_px / scene.eye.place_mm[2]
        count = 1 + min(11, math.ceil(blur_px / 0.35)) if blur_px > 0.02 else 1
        moments_s: Floats = ((np.arange(count) + 0.5) / count - 0.5) * exposure_s
        return moments_s

    def _masks(self, window: Window, first_s: float) -> tuple[Picture, Picture, Picture]:
        """Shares of the silhouette above water, of the deck in it, and of the hull below beside it: exposure means."""
        scene = self._scene
        moments_s = self._moments_s(first_s)
        count = len(moments_s)
        shows_bottom = scene.tier.underwater and (scene.entry is None or scene.entry.afloat(first_s))
        body, lid, whole = window.empty(), window.empty(), window.empty()
        for moment_s in moments_s:
            water, deck = self.outlines_px(first_s + moment_s)
            lid += window.cover(deck)
            body += window.hull(np.vstack([water, deck]))
            if shows_bottom:
                whole += window.hull(np.vstack([water, deck, self.sight.bottom(first_s + moment_s)]))
        body, lid, whole = (softened(mask / np.float32(count), SOFTNESS_PX) for mask in (body, lid, whole))
        # a hull that narrows downward shows nothing of itself below the waterline: no share of any pixel may be its
        return body, np.minimum(lid, body), np.maximum(whole - body, 0.0)

    def _side_light(self, water: Floats, window: Window) -> Picture:
        """How bright the boat's side is: brighter where it faces the lamp."""
        scene = self._scene
        rows, columns = np.mgrid[window.rows, window.columns]
        middle = water.mean(axis=0)
        lamp = scene.eye.rotation[:2, :2] @ np.array([np.cos(scene.light.from_rad), np.sin(scene.light.from_rad)])
        du, dv = columns - middle[0], rows - middle[1]
        facing = (du * lamp[0] + dv * lamp[1]) / np.maximum(np.hypot(du, dv), 1.0)
        return np.asarray(0.55 + 0.2 * facing, np.float32)
