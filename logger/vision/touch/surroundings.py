"""What lies around a boat: pictures laid over each other as the boat lies in them, against the empty water."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision import background
from logger.vision.background import Mask
from logger.vision.ground import inside
from logger.vision.light import PLAIN
from logger.vision.plane import Plane, Singles, Windowed

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
_BELOW_PX = 16
_UNKNOWN = (float("nan"),) * 4
_DARKEST = 0.5


class Colours(Protocol):
    """The film, as far as it is wanted here."""

    def upper_in_colour(self, wanted: Sequence[int], rows_px: int) -> Mapping[int, Windowed]:
        """So many upper rows or more, BGR, of the wanted ones by number."""
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

    def steady_rad(self, row: int) -> float:
        """Its heading there without scatter, large if the boat is round: on a straight line through its neighbours."""
        now_s = self.t_s[row]
        near = slice(*np.searchsorted(self.t_s, [now_s - _STEADY_S, now_s + _STEADY_S]))
        middle_s = self.t_s[near].mean()
        since, turn = self.t_s[near] - middle_s, self.heading_rad[near]
        return float(turn.mean() + (since @ turn) / max(float(since @ since), 1e-9) * (now_s - middle_s))


class Surroundings:
    """The surroundings of one hull as a grid (H, W) in the boat's frame."""

    def __init__(self, film: Colours, plane: Plane, tank_mm: Floats, course: Course) -> None:
        self._film, self._plane, self._tank = film, plane, tank_mm
        self._course = course
        self.step_mm = max(2.0, plane.step_mm(plane.foot_mm))
        outline = course.outline_mm
        low, high = outline.min(axis=0) - AROUND_MM, outline.max(axis=0) + AROUND_MM
        axes = [np.arange(a, b, self.step_mm) for a, b in zip(low, high, strict=True)]
        self._points: Floats = np.stack(np.meshgrid(*axes), axis=-1)
        self._low_mm = low
        self._radius_mm = _CLEAR_OF_BOAT * float(np.hypot(*outline.T).max())

    def away_mm(self, row: int) -> Singles:
        """(H, W) how far each point is from the hull as it is seen then: its deck, and its sides down to the water."""
        free = self._free(row)
        distance = cv2.distanceTransform(free, cv2.DIST_L2, 5)
        return np.asarray(distance, np.float32) * np.float32(self.step_mm)

    def _free(self, row: int) -> NDArray[np.uint8]:
        """(H, W) 0 on the hull as it is seen then, else 1."""
        place, turn = self._course.place_mm[row], self._course.steady_rad(row)
        deck = turned(self._course.outline_mm, turn) + place
        foot, height = self._plane.foot_mm, self._plane.height_mm
        water = foot + (deck - foot) * (1 - self._plane.z_mm / height)
        both = turned(np.vstack([deck, water]) - place, -turn)
        corners = np.round((both - self._low_mm) / self.step_mm).astype(np.int32)
        free = np.ones(self._points.shape[:2], np.uint8)
        cv2.fillConvexPoly(free, cv2.convexHull(corners), 0)
        return free

    def seen(self, rows: NDArray[np.int64]) -> list[Singles]:
        """Of so many rows of the course each picture's light less the empty water's, as a share of that.

        (H, W, 3); NaN where there is no water, or it is not known. What cannot be decoded is left out.
        """
        points = [turned(self._points, self._course.steady_rad(row)) + self._course.place_mm[row] for row in rows]
        pixels = [self._plane.pixels(grid) for grid in points]
        border = np.concatenate([side for at in pixels for side in (at[0], at[-1], at[:, 0], at[:, -1])])
        corner = np.maximum(np.floor(border.min(axis=0)).astype(int) - 2, 0)
        beyond = np.ceil(border.max(axis=0)).astype(int) + 3
        (left, top), (right, bottom) = corner.tolist(), np.maximum(beyond, corner).tolist()
        window = slice(top, bottom), slice(left, right)
        empty = self._empty(window, self._course.place_mm[rows].mean(axis=0))
        if empty is None:
            return []
        pictures = self._colours(rows, window)
        laid: list[Singles] = []
        for row, grid, at in zip(rows.tolist(), points, pixels, strict=True):
            picture = pictures.get(int(self._course.numbers[row]))
            if picture is not None:
                water, beside = self._in_tank(grid), self._free(row) > 0
                laid.append(self._against(picture, empty, at - corner, water, beside))
        return laid

    def _colours(self, rows: NDArray[np.int64], window: tuple[slice, slice]) -> Mapping[int, Colour]:
        """The window of pictures by number; the rows below it serve a JPEG's last ones."""
        numbers = [int(self._course.numbers[row]) for row in rows]
        found = self._film.upper_in_colour(numbers, window[0].stop + _BELOW_PX)
        return {number: picture[window] for number, picture in found.items()}

    def _against(self, picture: Colour, empty: Singles, pixels: Floats, water: Mask, beside: Mask) -> Singles:
        columns, rows = (pixels[..., k].astype(np.float32) for k in (0, 1))
        seen, bare = (
            cv2.remap(light, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=_UNKNOWN)
            for light in (PLAIN.light(picture), empty)
        )
        ratio = np.where(water[..., None], seen / np.maximum(bare, _DARKEST), np.float32(np.nan))
        lights = np.ones(3, np.float32)
        for channel, shown in enumerate(np.ascontiguousarray(ratio[beside].T)):
            known = shown[np.isfinite(shown)]
            lights[channel] = max(float(np.median(known)) if len(known) else 1.0, 1e-3)
        ratio /= lights
        ratio -= 1
        return ratio

    def _empty(self, window: tuple[slice, slice], place_mm: Floats) -> Singles | None:
        """(h, w, 3) light of the empty water in a window of the picture; NaN where the boat nearly always is."""
        away = np.hypot(*(self._course.place_mm - place_mm).T)
        free = np.flatnonzero(away > self._radius_mm)
        if len(free) < _EMPTY_LEAST:
            return None
        rows = free[np.linspace(0, len(free) - 1, min(_EMPTY_COUNT, len(free))).astype(int)]
        pictures = self._colours(rows, window)
        seen = [(row, pictures[n]) for row in rows if (n := int(self._course.numbers[row])) in pictures]
        if len(seen) < _EMPTY_LEAST:
            return None
        boats = [self._boat(window, picture.shape, row) for row, picture in seen]
        layers = [_lit(picture, boat) for (_, picture), boat in zip(seen, boats, strict=True)]
        ordered = background.sorted_rows(layers)  # what is not known is infinite, and comes last
        known = len(seen) - np.sum(boats, axis=0)
        middle = ordered[(len(seen) - 1) // 2]
        is_partly = known < len(seen)
        rank = np.maximum(known[is_partly] - 1, 0) // 2
        middle[is_partly] = np.choose(rank[:, None], [layer[is_partly] for layer in ordered[: (len(seen) + 1) // 2]])
        middle[known < _EMPTY_LEAST] = np.nan
        return middle

    def _boat(self, window: tuple[slice, slice], shape: tuple[int, ...], row: int) -> Mask:
        """(h, w) where the boat is in a window of the picture."""
        disc = np.zeros(shape[:2], np.uint8)
        place = self._course.place_mm[row]
        hull = self._plane.pixels(_CLEAR_OF_BOAT * (self._course.hull(row) - place) + place)
        cv2.fillPoly(disc, [np.round(hull - (window[1].start, window[0].start)).astype(np.int32)], 1)
        return disc > 0

    def _in_tank(self, points_mm: Floats) -> Mask:
        tank = inside(points_mm.reshape(-1, 2), self._tank).reshape(points_mm.shape[:2])
        width = 2 * round(_CLEAR_OF_RIM_MM / self.step_mm) + 1
        return cv2.erode(tank.astype(np.uint8), np.ones((width, width), np.uint8)).astype(bool)


def _lit(picture: Colour, boat: Mask) -> Singles:
    """Its light, in its own usual light; infinite where the boat is."""
    some = np.ascontiguousarray(picture[::4, ::4][~boat[::4, ::4]].T)
    middle = [(some.shape[1] - 1) // 2, some.shape[1] // 2]
    # the middle of the numbers' light is the light of their middle: light grows with them
    usual = PLAIN.of[np.partition(some, middle)[:, middle]].mean(axis=1) if some.size else np.full(3, np.nan)
    shown = PLAIN.of[:, None] * (np.float32(100) / np.maximum(usual, _DARKEST)).astype(np.float32)
    light = np.asarray(cv2.LUT(picture, shown[None]), np.float32)
    light[boat] = np.inf
    return light


def turned(points_mm: Floats, heading_rad: float) -> Floats:
    """Points (..., 2) of the boat's frame, turned as the boat lies."""
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    return np.asarray(points_mm @ np.array([[c, s], [-s, c]]), np.float64)
