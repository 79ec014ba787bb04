"""What the live tracker knows of the empty tank: how it looks, how much each place flickers, what was never seen free.

Pictures come reduced fourfold, in colour: that costs a fifth of a millisecond more than grey, and shows a boat whose
grey is that of the floor. Each picture's light is put right by one factor a colour. The idea of the empty tank is
renewed slowly, never under the boat, so that a boat at rest does not melt into it. The first picture has the boat in
it, waiting: behind the start line the tank is taken to look as it does elsewhere, until it has been seen free.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.config import Line, Tank
from logger.records import Frame
from logger.vision.background import Mask
from logger.vision.ground import SHRINK, inside, places
from logger.vision.plane import Plane

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Colour = NDArray[np.uint8]

_RENEWAL = 0.03
"""Share of the empty tank that one picture renews."""
_FLICKER = 1.5
"""So many times the usual difference of a place is called noise there."""
_MOST_FLICKER = 5.0
"""In units of the whole picture's noise: a boat is to be seen above a glint as well."""
_STEPS = 8
"""Steps of evidence's table to one noise."""
_FAINTEST, _MOST = 3.0, 25.0
"""Differences in units of noise where evidence begins, and where it is full."""
_ZONE_MM = 80.0
"""The zone of the start reaches so far beyond its line: a bow may stand on it."""
_MARGIN_MM = 100.0
"""What lies farther off the water is not looked at."""
_OUTSIDE_MM = 45.0
"""What shows so far outside the water reaches in from there: an arm."""

_x = np.arange(256) / _STEPS
_EVIDENCE = np.minimum(np.log1p(np.maximum(_x - _FAINTEST, 0)) / np.log1p(_MOST - _FAINTEST), 1).astype(np.float32)
_ONES = np.ones((1, 3), np.float32)


def reduced(frame: Frame) -> Colour:
    """The frame (h, w, 3), SHRINK times smaller; from the JPEG itself where there is one, which is quicker."""
    if frame.jpeg is not None:
        small = cv2.imdecode(np.frombuffer(frame.jpeg, np.uint8), cv2.IMREAD_REDUCED_COLOR_4)
        if small is not None:
            return np.asarray(small, np.uint8)
    size = (-(-frame.image.shape[1] // SHRINK), -(-frame.image.shape[0] // SHRINK))
    small = cv2.resize(frame.image, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small if small.ndim == 3 else cv2.cvtColor(small, cv2.COLOR_GRAY2BGR), np.uint8)


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One picture beside the empty tank."""

    lit: Singles
    """(h, w, 3) the picture in the light of the empty tank."""
    empty: Singles
    """(h, w, 3) the empty tank."""
    apart: Singles
    """(h, w) how far it differs, grey levels summed over the colours."""
    evidence: Singles
    """(h, w) 0 to 1: how surely that is more than noise."""
    noise_grey: float


class Floor:
    """Where in the small picture what lies. Its pictures are cut to what is in and around the water."""

    def __init__(self, plane: Plane, tank: Tank, start: Line | None) -> None:
        self.plane = plane
        lens = plane.view.lens
        whole = -(-lens.height_px // SHRINK), -(-lens.width_px // SHRINK)
        at, outline = places(plane, *whole), np.array(tank.outline_mm)
        self.cut = _around(inside(at, _grown(outline, _MARGIN_MM)).reshape(whole))
        self._corner_px = np.array([self.cut[1].start, self.cut[0].start], np.float64)
        self.places_mm = at.reshape(*whole, 2)[self.cut].astype(np.float32)
        self.shape = (self.places_mm.shape[0], self.places_mm.shape[1])
        at = self.places_mm.reshape(-1, 2).astype(np.float64)
        self.water: Mask = inside(at, outline).reshape(self.shape)
        self.outside: Mask = ~inside(at, _grown(outline, _OUTSIDE_MM)).reshape(self.shape)
        self.zone: Mask | None = None
        self.forward: Floats | None = None
        """(2,) unit normal of the start line, away from where boats wait."""
        if start is not None:
            a, self.forward = _side(start, outline)
            ahead = (at - a) @ self.forward
            self.zone = self.water & (ahead < _ZONE_MM).reshape(self.shape)
            other = at + 2 * np.maximum(_ZONE_MM - ahead, 0)[:, None] * self.forward
            pixels = self.pixels(other).astype(np.float32).reshape(*self.shape, 2)
            self._mirrored = pixels[..., 0].copy(), pixels[..., 1].copy()
            step_mm = plane.step_mm(plane.foot_mm) * SHRINK
            self._ahead = np.round(ahead / step_mm).astype(np.int64).reshape(self.shape)

    def pixels(self, places_mm: Floats) -> Floats:
        """Pixels (N, 2) of the cut small picture at places (N, 2) of the plane."""
        found: Floats = (self.plane.pixels(places_mm) + 0.5) / SHRINK - 0.5 - self._corner_px
        return found

    def without_boat(self, small: Colour) -> Singles:
        """The picture with the zone of the start as it looks elsewhere.

        At every place either as mirrored at the zone's end, which is right beside the long walls, or as the middle of
        what lies as far from the line, which is right at the wall behind; whichever is nearer to what is seen.
        """
        empty = small.astype(np.float32)
        if self.zone is None:
            return empty
        other = cv2.remap(small, *self._mirrored, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        mirrored = cv2.GaussianBlur(other, (0, 0), 2.0)[self.zone].astype(np.float32)
        there, rows = empty[self.zone], self._ahead[self.zone]
        along = np.empty_like(there)
        for row in np.unique(rows):
            along[rows == row] = np.median(there[rows == row], axis=0)
        nearer = np.abs(along - there).sum(axis=1) <= np.abs(mirrored - there).sum(axis=1)
        empty[self.zone] = np.where(nearer[:, None], along, mirrored)
        return empty

    def at(self, pixels: Floats) -> Floats:
        """Places (N, 2) mm on the plane at small pixels (N, 2)."""
        u, v = pixels.T.astype(np.float32)
        found = cv2.remap(self.places_mm, u[:, None], v[:, None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(found, np.float64).reshape(-1, 2)


class EmptyTank:
    """The idea of the empty tank, and how it is renewed."""

    def __init__(self, floor: Floor, first: Colour) -> None:
        self._floor = floor
        self._empty = floor.without_boat(first) if floor.zone is not None else _smoothed(first, floor.water)
        zone = floor.zone if floor.zone is not None else floor.water
        self._unknown = zone.astype(np.uint8)
        self._usual = np.zeros(floor.shape, np.float32)

    def compared(self, small: Colour) -> Seen:
        """The picture beside the empty tank."""
        part, base = small[4::8, 4::8].reshape(-1, 3).astype(np.float32), self._empty[4::8, 4::8].reshape(-1, 3)
        known = ((base > 8) & (part < 250)).all(axis=1)
        gain = np.median(part[known] / base[known], axis=0) if known.sum() > 20 else np.ones(3)
        lit = cv2.multiply(small, np.array([*(1 / np.maximum(gain, 1e-2)), 1.0]), dtype=cv2.CV_32F)
        apart = cv2.transform(cv2.absdiff(lit, self._empty), _ONES)
        noise = max(1.5 * float(np.median(apart[2::4, 2::4])), 2.0)
        level = np.maximum(self._usual, np.float32(noise))
        steps = cv2.divide(apart, level, scale=_STEPS, dtype=cv2.CV_8U)
        evidence = cv2.LUT(steps, _EVIDENCE)
        return Seen(_singles(lit), self._empty, _singles(apart), _singles(evidence), noise)

    @property
    def is_known(self) -> bool:
        """Whether every place has been seen free."""
        return not self._unknown.any()

    def renew(self, seen: Seen, boat: NDArray[np.uint8], near: NDArray[np.uint8] | None = None) -> None:
        """Take note of a picture.

        Args:
            seen: it, beside the empty tank.
            boat: (h, w) not 0 where the boat is or may be.
            near: the same with whoever holds it; None: nobody. What was never seen free is not free there either.
        """
        free = (boat == 0).astype(np.uint8)
        if not self.is_known:
            fresh = (self._unknown > 0) & ((free > 0) if near is None else (near == 0))
            self._empty[fresh] = seen.lit[fresh]
            self._unknown[fresh] = 0
            free[self._unknown > 0] = 0
        cv2.accumulateWeighted(seen.lit, self._empty, _RENEWAL, free)
        flicker = np.minimum(seen.apart * np.float32(_FLICKER), np.float32(_MOST_FLICKER * seen.noise_grey))
        cv2.accumulateWeighted(flicker, self._usual, _RENEWAL, free)


def _singles(picture: NDArray[Any]) -> Singles:
    return np.asarray(picture, np.float32)


def _smoothed(small: Colour, water: Mask) -> Singles:
    """Without a start line: what stands out from its wide surroundings in the first picture is taken to be away."""
    around = cv2.medianBlur(small, 101).astype(np.float32)
    empty = small.astype(np.float32)
    empty[water] = around[water]
    return empty


def _grown(outline: Floats, margin_mm: float) -> Floats:
    """The outline about its middle, farther out by the margin along x and y."""
    middle = (outline.max(axis=0) + outline.min(axis=0)) / 2
    grown: Floats = middle + (outline - middle) * (1 + margin_mm / (np.ptp(outline, axis=0) / 2))
    return grown


def _around(mask: Mask) -> tuple[slice, slice]:
    """Rows and columns that hold all of a mask; the whole picture if there is nothing in it."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows):
        return slice(0, mask.shape[0]), slice(0, mask.shape[1])
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


def _side(start: Line, outline: Floats) -> tuple[Floats, Floats]:
    """A point of the start line, and the unit normal away from the smaller part of the tank."""
    a, b = np.array(start.a_mm), np.array(start.b_mm)
    along = (b - a) / np.hypot(*(b - a))
    normal = np.array([along[1], -along[0]])
    ahead = (outline - a) @ normal
    return a, normal if ahead.max() >= -ahead.min() else -normal
