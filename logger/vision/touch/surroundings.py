"""What lies around a boat: pictures laid over each other as the boat lies in them, against the empty water."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Mask
from logger.vision.ground import inside
from logger.vision.light import PLAIN
from logger.vision.plane import Plane, Singles, sample

Floats = NDArray[np.float64]
Colour = NDArray[np.uint8]

AROUND_MM = 140.0
"""So far beyond the hull is looked."""
_CLEAR_OF_RIM_MM = 10.0
_EMPTY_COUNT, _EMPTY_LEAST = 13, 3
"""From how many pictures the empty water is taken, and how many of them must show it."""
_CLEAR_OF_BOAT = 1.15
"""The boat with its walls and most of its shadow, over its deck."""
_STEADY_S = 0.25
_DARKEST = 0.5


class Colours(Protocol):
    """The film, as far as it is wanted here."""

    def in_colour(self, wanted: Sequence[int]) -> Mapping[int, Colour]:
        """(h, w, 3) BGR of the wanted ones by number."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Where the boat was seen, N pictures in order of time."""

    numbers: NDArray[np.int64]
    """(N,) of the pictures, from 0."""
    t_s: Floats
    place_mm: Floats
    """(N, 2) on the deck's plane."""
    heading_rad: Floats
    outline_mm: Floats
    """(M, 2) of the hull, boat frame."""

    def hull(self, row: int) -> Floats:
        """(M, 2) its outline where it lay."""
        hull: Floats = turned(self.outline_mm, float(self.heading_rad[row])) + self.place_mm[row]
        return hull


class Surroundings:
    """The surroundings of one hull as a grid (H, W) in the boat's frame."""

    def __init__(self, film: Colours, plane: Plane, tank_mm: Floats, course: Course) -> None:
        self._film, self._plane, self._tank = film, plane, tank_mm
        self._course, self._heading = course, _steady(course.t_s, course.heading_rad)
        self.step_mm = max(2.0, plane.step_mm(plane.foot_mm))
        outline = course.outline_mm
        low, high = outline.min(axis=0) - AROUND_MM, outline.max(axis=0) + AROUND_MM
        axes = [np.arange(a, b, self.step_mm) for a, b in zip(low, high, strict=True)]
        self._points: Floats = np.stack(np.meshgrid(*axes), axis=-1)
        self._low_mm = low
        self._radius_mm = _CLEAR_OF_BOAT * float(np.hypot(*outline.T).max())

    def away_mm(self, row: int) -> Singles:
        """(H, W) how far each point is from the hull as it is seen then: its deck, and its sides down to the water."""
        place, turn = self._course.place_mm[row], float(self._heading[row])
        deck = turned(self._course.outline_mm, turn) + place
        foot, height = self._plane.foot_mm, self._plane.height_mm
        water = foot + (deck - foot) * (1 - self._plane.z_mm / height)
        both = turned(np.vstack([deck, water]) - place, -turn)
        corners = np.round((both - self._low_mm) / self.step_mm).astype(np.int32)
        free = np.ones(self._points.shape[:2], np.uint8)
        cv2.fillConvexPoly(free, cv2.convexHull(corners), 0)
        distance = cv2.distanceTransform(free, cv2.DIST_L2, 5)
        return np.asarray(distance, np.float32) * np.float32(self.step_mm)

    def seen(self, groups: Sequence[NDArray[np.int64]]) -> list[list[Singles]]:
        """For each group of rows of the course, each picture's light less the empty water's, as a share of that.

        (H, W, 3); NaN where there is no water, or it is not known. What cannot be decoded is left out.
        """
        rows = np.unique(np.concatenate(groups))
        points = {int(row): turned(self._points, float(self._heading[row])) for row in rows}
        points = {row: grid + self._course.place_mm[row] for row, grid in points.items()}
        pixels = {row: self._plane.pixels(grid) for row, grid in points.items()}
        corner = np.floor(np.min([at.min(axis=(0, 1)) for at in pixels.values()], axis=0)).astype(int) - 2
        beyond = np.ceil(np.max([at.max(axis=(0, 1)) for at in pixels.values()], axis=0)).astype(int) + 3
        corner = np.maximum(corner, 0)
        window = slice(corner[1], max(beyond[1], corner[1])), slice(corner[0], max(beyond[0], corner[0]))
        empty = self._empty(window, self._course.place_mm[rows].mean(axis=0))
        pictures = self._film.in_colour([int(self._course.numbers[row]) for row in rows])
        laid: dict[int, Singles] = {}
        for row, at in pixels.items():
            picture = pictures.get(int(self._course.numbers[row]))
            if picture is not None and empty is not None:
                water = self._in_tank(points[row])
                laid[row] = self._against(picture[window], empty, at - corner, water, self.away_mm(row) > 0)
        return [[laid[int(row)] for row in group if int(row) in laid] for group in groups]

    def _against(self, picture: Colour, empty: Singles, pixels: Floats, water: Mask, beside: Mask) -> Singles:
        columns, rows = pixels[..., 0], pixels[..., 1]
        shares = []
        for channel in range(3):
            seen = sample(np.ascontiguousarray(picture[..., channel]), columns, rows)
            bare = sample(np.ascontiguousarray(empty[..., channel]), columns, rows)
            ratio = np.where(water, seen / np.maximum(bare, _DARKEST), np.nan)
            known = ratio[beside & np.isfinite(ratio)]
            light = float(np.median(known)) if len(known) else 1.0
            shares.append(ratio / max(light, 1e-3) - 1)
        return np.stack(shares, axis=-1).astype(np.float32)

    def _empty(self, window: tuple[slice, slice], place_mm: Floats) -> Singles | None:
        """(h, w, 3) light of the empty water in a window of the picture; NaN where the boat nearly always is."""
        away = np.hypot(*(self._course.place_mm - place_mm).T)
        free = np.flatnonzero(away > self._radius_mm)
        if len(free) < _EMPTY_LEAST:
            return None
        rows = free[np.linspace(0, len(free) - 1, min(_EMPTY_COUNT, len(free))).astype(int)]
        pictures = self._film.in_colour([int(self._course.numbers[row]) for row in rows])
        layers = []
        for row in rows:
            picture = pictures.get(int(self._course.numbers[row]))
            if picture is not None:
                layers.append(self._without_boat(picture[window], window, row))
        if len(layers) < _EMPTY_LEAST:
            return None
        ordered = np.sort(layers, axis=0)  # what is not known comes last
        known = np.isfinite(ordered).sum(axis=0)
        middle = np.take_along_axis(ordered, np.maximum(known - 1, 0)[None] // 2, axis=0)[0]
        return np.where(known >= _EMPTY_LEAST, middle, np.nan).astype(np.float32)

    def _without_boat(self, picture: Colour, window: tuple[slice, slice], row: int) -> Singles:
        """Its light, in the usual light of the window, NaN where the boat is."""
        light = PLAIN.light(picture)
        disc = np.zeros(picture.shape[:2], np.uint8)
        place = self._course.place_mm[row]
        hull = self._plane.pixels(_CLEAR_OF_BOAT * (self._course.hull(row) - place) + place)
        cv2.fillPoly(disc, [np.round(hull - (window[1].start, window[0].start)).astype(np.int32)], 1)
        light[disc > 0] = np.nan
        usual = np.nanmedian(light[::4, ::4].reshape(-1, 3), axis=0)
        return np.asarray(light / np.maximum(usual, _DARKEST) * 100, np.float32)

    def _in_tank(self, points_mm: Floats) -> Mask:
        tank = inside(points_mm.reshape(-1, 2), self._tank).reshape(points_mm.shape[:2])
        width = 2 * round(_CLEAR_OF_RIM_MM / self.step_mm) + 1
        return cv2.erode(tank.astype(np.uint8), np.ones((width, width), np.uint8)).astype(bool)


def turned(points_mm: Floats, heading_rad: float) -> Floats:
    """Points (..., 2) of the boat's frame, turned as the boat lies."""
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    return np.asarray(points_mm @ np.array([[c, s], [-s, c]]), np.float64)


def _steady(t_s: Floats, heading_rad: Floats) -> Floats:
    """Headings without their scatter, large if the boat is round: each on a straight line through its neighbours."""
    steady = np.empty_like(heading_rad)
    for k, now_s in enumerate(t_s):
        near = slice(*np.searchsorted(t_s, [now_s - _STEADY_S, now_s + _STEADY_S]))
        middle_s = t_s[near].mean()
        since, turn = t_s[near] - middle_s, heading_rad[near]
        steady[k] = turn.mean() + (since @ turn) / max(float(since @ since), 1e-9) * (now_s - middle_s)
    return steady
