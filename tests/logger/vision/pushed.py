"""A painted boat that gets a push on its way, and whatever is laid beside it; pictures are painted when asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np

from logger.vision.plane import Plane
from logger.vision.track import Track
from tests.logger.vision.painted import Toy, camera, floor, paint

COUNT, RATE_HZ = 120, 30.0
PUSH_S = (2.0, 2.3)
FIRST_NS = 7_000_000_000
TOY = Toy()
VIEW = camera(size=(640, 360), focal_px=450.0)
DECK = Plane(VIEW, TOY.freeboard_mm)
TANK_MM = np.array([(-300.0, -400.0), (1400.0, -400.0), (1400.0, 400.0), (-300.0, 400.0)])
OUTLINE_MM = TOY.outline_mm * TOY.flare
STERN_MM = float(OUTLINE_MM[:, 0].min())

Thing = Callable[[np.ndarray, float, np.ndarray], None]
"""Paints itself into a picture taken at so many seconds, the boat being there."""


def way(by_mm_per_s: float = 100.0, start_mm: float = 0.0) -> np.ndarray:
    """(COUNT, 2) places of a boat at 200 mm/s with a push from PUSH_S[0] to PUSH_S[1]."""
    t = np.arange(COUNT) / RATE_HZ
    lasts = PUSH_S[1] - PUSH_S[0]
    during = np.clip(t - PUSH_S[0], 0, lasts)
    x = start_mm + 200 * t + by_mm_per_s * (during**2 / (2 * lasts) + np.clip(t - PUSH_S[1], 0, None))
    return np.column_stack([x, np.full(COUNT, 30.0)])


def track(place_mm: np.ndarray, *, seed: int = 1, quality: int = 0) -> Track:
    """What a tracker would say of it."""
    seen = place_mm + np.random.default_rng(seed).normal(0, 0.2, place_mm.shape)
    return Track(
        t_ns=FIRST_NS + np.round(np.arange(COUNT) / RATE_HZ * 1e9).astype(np.int64),
        x_mm=seen[:, 0],
        y_mm=seen[:, 1],
        heading_rad=np.zeros(COUNT),
        noise_mm2=np.tile(0.04 * np.eye(2), (COUNT, 1, 1)),
        u_heading_rad=np.full(COUNT, 0.003),
        quality=np.full(COUNT, quality, np.uint8),
        frame=np.arange(COUNT),
        outline_mm=OUTLINE_MM,
        u_outline_mm=0.5,
    )


class Film:
    """Its pictures."""

    def __init__(self, place_mm: np.ndarray, *things: Thing) -> None:
        self._place, self._things, self._empty = place_mm, things, floor(VIEW)
        self.decoded_count = 0

    def upper_in_colour(self, wanted: Sequence[int], rows_px: int) -> dict[int, np.ndarray]:
        """(h, w, 3) BGR of the wanted ones."""
        self.decoded_count += len(wanted)
        return {n: self._painted(n) for n in wanted}

    def _painted(self, number: int) -> np.ndarray:
        x, y = self._place[number]
        rng = np.random.default_rng(number)
        grey = paint(VIEW, TOY, self._empty, x_mm=x, y_mm=y, heading_rad=0.0, rng=rng)
        picture = cv2.merge([grey, grey, grey])
        for thing in self._things:
            thing(picture, number / RATE_HZ, self._place[number])
        return picture


def bar(picture: np.ndarray, ends_mm: Sequence[np.ndarray], *, width_px: int, colour: Sequence[int]) -> None:
    """A bar between two points at the height of the deck."""
    a, b = (tuple(int(v) for v in np.round(at)) for at in DECK.pixels(np.array(ends_mm, float)))
    cv2.line(picture, a, b, tuple(colour), width_px, cv2.LINE_AA)


def straw(*, gap_mm: float = 0.0, comes_s: float = 1.9, goes_s: float = 2.4, colour=(60, 60, 210), width_px=3) -> Thing:
    """A red straw from the side wall to the stern's middle, or `gap_mm` short of it; drawn back before and after."""

    def paint_it(picture: np.ndarray, t_s: float, place: np.ndarray) -> None:
        away = gap_mm + 800 * max(comes_s - t_s, t_s - goes_s, 0.0)
        tip = place + [STERN_MM, 0.0] + away * np.array([-0.6, 0.8])
        if away < 500:
            bar(picture, [tip, tip + 600 * np.array([-0.6, 0.8])], width_px=width_px, colour=colour)

    return paint_it


def shadow(picture: np.ndarray, t_s: float, place: np.ndarray) -> None:
    """Somebody's shadow, wider than the boat, that runs over it just at the push."""
    if PUSH_S[0] - 0.1 < t_s < PUSH_S[1] + 0.1:
        column = int(DECK.pixels(place[None])[0, 0])
        window = picture[:, max(0, column - 60) : column + 60]
        window[:] = (window * 0.8).astype(np.uint8)
