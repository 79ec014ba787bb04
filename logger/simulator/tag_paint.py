"""A tag in the picture: its plate, its paper and its print over the exposure, and the lamps that its film mirrors."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.simulator.background import SOFTNESS_PX
from logger.simulator.scene import Scene
from logger.simulator.sight import Sight
from logger.simulator.tag import Tag
from logger.simulator.window import Picture, Window, softened

Floats = NDArray[np.float64]
_FILM_POINTS = 25
"""The film's shine is worked out on so many points each way."""
_PLATE = np.float32(0.35)
"""Light that the plate's sides give back, of 1."""


class TagPaint:
    """Draws the tag of one scene."""

    def __init__(self, scene: Scene, tag: Tag, sight: Sight) -> None:
        self._scene, self._tag, self._sight = scene, tag, sight
        paper, ink = tag.paper_mm(), tag.ink_mm()
        self._paper, self._ink = tag.in_boat(paper), tag.in_boat(ink)
        self._foot = tag.in_boat(paper, z_mm=min(tag.height_mm, scene.hull.freeboard_mm))
        half = float(np.abs(paper).max())
        along = np.linspace(half, -half, _FILM_POINTS)
        forward, left = np.meshgrid(along, along, indexing="ij")
        self._film = np.column_stack([forward.ravel(), left.ravel()])
        self._film_corners = tag.in_boat(half * np.array([(1.0, 1.0), (1.0, -1.0), (-1.0, -1.0), (-1.0, 1.0)]))

    def outline(self, t_s: float) -> Floats:
        """(M, 2) pixels of paper and plate; `t_s` is mid-exposure of the first picture row."""
        return self._sight.project(np.vstack([self._paper, self._foot]), t_s)

    def lay(self, light: Picture, window: Window, moments_s: Floats, *, lit: Picture) -> None:
        """Draw it into the light of the window's seen part.

        Args:
            light: (rows, columns, 3) of the picture so far, changed in place.
            window: where it is.
            moments_s: (N,) mid-exposures of the first row that are averaged.
            lit: (rows, columns) how strongly lamp and sail's shadow leave the sheet lit.
        """
        sheet = self._tag.sheet
        paper, ink, plate = window.empty(), window.empty(), window.empty()
        for t_s in moments_s:
            seen = self._sight.project(np.vstack([self._paper, self._foot, self._ink]), float(t_s))
            count = len(self._paper)
            paper += window.cover(seen[:count])
            plate += window.hull(seen[: 2 * count])
            ink += window.cover(seen[2 * count :])
        scale = self._scene.eye.f_px / (self._scene.eye.place_mm[2] - self._tag.height_mm)
        blurs = (SOFTNESS_PX, math.hypot(SOFTNESS_PX, sheet.bleed_mm * scale), SOFTNESS_PX)
        paper, ink, plate = (
            softened(mask / np.float32(len(moments_s)), blur)[window.inner]
            for mask, blur in zip((paper, ink, plate), blurs, strict=True)
        )
        plate = np.maximum(plate, paper)
        printed = paper * np.float32(sheet.paper) - ink * np.float32(sheet.paper - sheet.ink)
        shown = lit * (printed + (plate - paper) * _PLATE)
        if sheet.lamps:
            shown = shown + paper * self._mirrored(window, float(moments_s[len(moments_s) // 2]))[window.inner]
        light *= (1.0 - plate)[..., None]
        light += shown[..., None]

    def _mirrored(self, window: Window, t_s: float) -> Picture:
        """Light of the lamps that the film mirrors into the camera, over the window: a wavy sheet on a leaning deck."""
        scene, tag = self._scene, self._tag
        here = self._places(tag.in_boat(self._film), t_s)
        level = self._places(tag.in_boat(np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])), t_s)
        forward, left = level[1] - level[0], level[2] - level[0]
        # how steeply the surface climbs along x and y of the tank: the deck's lean and the sheet's own waves
        waves = tag.sheet_slope(self._film) + np.array([forward[2], left[2]])
        slope = waves[:, :1] * forward[:2] + waves[:, 1:] * left[:2]
        to_eye = scene.eye.place_mm - here
        to_eye /= np.linalg.norm(to_eye, axis=1)[:, None]
        total = np.zeros(len(here))
        middle = np.array([(scene.basin.back_mm + scene.basin.front_mm) / 2, 0.0, 0.0])
        for x, y, z, brightness in tag.sheet.lamps:
            to_lamp = middle + np.array([x, y, z]) - here
            half = to_eye + to_lamp / np.linalg.norm(to_lamp, axis=1)[:, None]
            off = slope + half[:, :2] / half[:, 2:]
            total += brightness * np.exp(-(off**2).sum(axis=1) / (2 * tag.sheet.gloss_width**2))
        film = total.reshape(_FILM_POINTS, _FILM_POINTS).astype(np.float32)
        last = _FILM_POINTS - 1
        flat = np.array([(0, 0), (last, 0), (last, last), (0, last)], np.float32)
        there = self._sight.project(self._film_corners, t_s) - (window.left_px, window.top_px)
        lay = cv2.getPerspectiveTransform(flat, there.astype(np.float32))
        size = (window.width_px, window.height_px)
        return np.asarray(cv2.warpPerspective(film, lay, size, flags=cv2.INTER_LINEAR), np.float32)

    def _places(self, points_mm: Floats, t_s: float) -> Floats:
        return self._sight.places(points_mm, np.full(len(points_mm), t_s))
