"""Things of the boat's size in one small picture: where, how large, which way, of what colour, and what they hang on.

A box of the card's size is laid everywhere: evidence inside counts for a thing, evidence around it against. What the
best places hold is then outlined. A thing joined to something that reaches in over the rim is held by a hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.config import Boat
from logger.vision.background import Mask
from logger.vision.live.scene import Floats, Floor, Seen, Singles

_MOST_COUNT = 5
_AROUND = 1.7
"""The surroundings that count against a thing, as a multiple of its size."""
_AGAINST = 0.7
_WEAKEST = 0.06
_UNKNOWN_MM = 100.0
_FULLNESS = 0.8
"""Area of a hull, as a share of its length times its width."""
_WINDOW = 1.3
"""What lies farther off than this many of its sizes does not belong to a thing."""
_EVEN = 0.1
_SHADE = (0.4, 0.95)
"""Light that a shadow leaves, and how nearly the same of each colour; from the simulator's shadows and from memory."""
_WITHOUT_SHADE = 0.65
"""What is left without shadows must be so much of the boat's area; or the boat itself looks like a shadow."""
_ARM_EVIDENCE, _ARM_PX = 0.45, 4
_ARM_SHARE = 0.2
_FITS = (0.35, 0.2, 0.3)
"""Logarithms by which area, length and width may differ from the card's."""


@dataclass(frozen=True, slots=True, eq=False)
class Thing:
    """Something of about the boat's size."""

    pixel: tuple[float, float]
    """(u, v) of the box's middle, small pixels."""
    place_mm: tuple[float, float]
    """Centroid of its outline."""
    axis_rad: float
    """Long axis, within ±π/2."""
    elongation: float
    """Long axis over short: 1 is round."""
    strength: float
    """How well it fills a box of the boat's size, and leaves free what is around: 0 to 1."""
    size_fit: float
    """How well its area and its length fit the card: 0 to 1."""
    colour: tuple[float, float, float]
    """Mean of its middle."""
    is_held: bool
    """Joined to something that reaches in from outside the tank."""
    fore_share: float = 0.5
    """How far its outline reaches from the centroid along `axis_rad`, as a share of its length."""


class Size:
    """The boat's size, as far as the card tells."""

    def __init__(self, boat: Boat, step_mm: float) -> None:
        self.is_told = boat.length_mm is not None and boat.width_mm is not None
        self.length_mm = boat.length_mm or _UNKNOWN_MM
        self.width_mm = boat.width_mm or (0.5 * self.length_mm if boat.length_mm else _UNKNOWN_MM)
        self.step_mm = step_mm
        self.area_mm2 = _FULLNESS * self.length_mm * self.width_mm
        self.reach_px = float(np.hypot(self.length_mm, self.width_mm)) / 2 / step_mm + 2

    def box_px(self, turn_rad: float) -> tuple[int, int]:
        """Columns and rows, both odd, of a box that holds most of the boat when it is turned so in the picture."""
        c, s = abs(np.cos(turn_rad)), abs(np.sin(turn_rad))
        long, wide = self.length_mm / self.step_mm, self.width_mm / self.step_mm
        u, v = np.hypot(c * long, s * wide), np.hypot(s * long, c * wide)
        return max(3, 2 * round(0.45 * u) + 1), max(3, 2 * round(0.45 * v) + 1)

    def around(self, x_mm: float, y_mm: float, heading_rad: float, *, margin_mm: float) -> Floats:
        """(4, 2) corners of a rectangle around a boat there."""
        c, s = math.cos(heading_rad), math.sin(heading_rad)
        half = np.array([self.length_mm / 2 + margin_mm, self.width_mm / 2 + margin_mm])
        square = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]) * half
        corners: Floats = square @ np.array([[c, s], [-s, c]]) + (x_mm, y_mm)
        return corners

    def fit(self, area_mm2: float, long_mm: float, wide_mm: float) -> float:
        """1 where a silhouette is as large as the card says, less where it is smaller or larger."""
        if not self.is_told:
            return 0.8
        own = sorted((self.length_mm, self.width_mm))
        off = zip((area_mm2, long_mm, wide_mm), (self.area_mm2, own[1], own[0]), _FITS, strict=True)
        return math.exp(-0.5 * sum((math.log(max(found, 1e-3) / told) / u) ** 2 for found, told, u in off))


def things(seen: Seen, floor: Floor, size: Size, *, turn_rad: float) -> list[Thing]:
    """What may be the boat, best first.

    Args:
        seen: the picture beside the empty tank.
        floor: where in it what lies.
        size: what is looked for ...
        turn_rad: ... and how it is probably turned in the picture.
    """
    evidence = seen.evidence
    columns, rows = size.box_px(turn_rad)
    wide, high = 2 * round(_AROUND * columns / 2) + 1, 2 * round(_AROUND * rows / 2) + 1
    inner = cv2.boxFilter(evidence, -1, (columns, rows), borderType=cv2.BORDER_CONSTANT)
    outer = cv2.boxFilter(evidence, -1, (wide, high), borderType=cv2.BORDER_CONSTANT)
    share = columns * rows / (wide * high)
    score = cv2.addWeighted(inner, 1 + _AGAINST * share / (1 - share), outer, -_AGAINST / (1 - share), 0)
    score[~floor.water] = 0
    arms: NDArray[np.uint8] | None = None
    found: list[Thing] = []
    for _ in range(_MOST_COUNT):
        _, strength, _, (u, v) = cv2.minMaxLoc(score)
        if strength <= _WEAKEST or (found and strength < 0.25 * found[0].strength):
            break
        if arms is None:
            arms = _arms(evidence, floor)
        thing = _measured(seen, floor, size, (u, v), (columns, rows), min(float(strength), 1.0), arms)
        if thing is not None:
            found.append(thing)
        half_u, half_v = columns, rows
        score[max(v - half_v, 0) : v + half_v + 1, max(u - half_u, 0) : u + half_u + 1] = 0
    return found


def _arms(evidence: Singles, floor: Floor) -> NDArray[np.uint8]:
    """(h / 2, w / 2) above 0 where something reaches in from outside the water; every second pixel is enough."""
    marked = (cv2.blur(evidence, (3, 3))[::2, ::2] > _ARM_EVIDENCE).astype(np.uint8)
    count, labels = cv2.connectedComponents(marked, connectivity=4)
    counts = np.bincount(labels[floor.outside[::2, ::2]])
    reaching = np.zeros(count, np.uint8)
    reaching[: len(counts)] = counts > _ARM_PX
    reaching[0] = 0
    return np.asarray(reaching[labels], np.uint8)


def _measured(
    seen: Seen,
    floor: Floor,
    size: Size,
    at: tuple[int, int],
    box: tuple[int, int],
    strength: float,
    arms: NDArray[np.uint8],
) -> Thing | None:
    """The thing at a place (u, v), outlined; None if it has no outline."""
    (u, v), (columns, rows) = at, box
    half_u, half_v = round(_WINDOW * columns / 2) + 1, round(_WINDOW * rows / 2) + 1
    top, left = max(v - half_v, 0), max(u - half_u, 0)
    window = slice(top, v + half_v + 1), slice(left, u + half_u + 1)
    apart = seen.apart[window]
    core = (slice(max(v - rows // 4, 0), v + rows // 4 + 1), slice(max(u - columns // 4, 0), u + columns // 4 + 1))
    inner = seen.apart[core].ravel()
    limit = max(0.4 * float(np.partition(inner, inner.size // 2)[inner.size // 2]), 4 * seen.noise_grey)
    shade = _shaded(seen.lit[window], seen.empty[window])
    if np.count_nonzero((apart > limit) & ~shade) * size.step_mm**2 > _WITHOUT_SHADE * size.area_mm2:
        apart = np.where(shade, np.float32(0), apart)
    fine = cv2.resize(apart, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    mask = (fine > limit).astype(np.uint8)
    opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    pieces, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not pieces:
        return None
    largest = max(len(piece) for piece in pieces)
    border = np.vstack([piece[:, 0] for piece in pieces if len(piece) > 0.4 * largest])
    hull = cv2.convexHull(border)[:, 0]
    if len(hull) < 3:
        return None
    shape = _shape(floor.at((hull + 0.5) / 2 - 0.5 + (left, top)))
    if shape is None:
        return None
    place, axis_rad, elongation, sizes, fore_share = shape
    b, g, r, _ = cv2.mean(seen.lit[core])
    return Thing(
        pixel=(float(u), float(v)),
        place_mm=place,
        axis_rad=axis_rad,
        elongation=elongation,
        strength=strength,
        size_fit=size.fit(*sizes),
        colour=(b, g, r),
        is_held=bool(_halved(arms, core).mean() > _ARM_SHARE),
        fore_share=fore_share,
    )


def _halved(arms: NDArray[np.uint8], window: tuple[slice, slice]) -> NDArray[np.uint8]:
    """The same window of a picture of every second pixel."""
    rows, columns = ((one.start // 2, one.stop // 2 + 1) for one in window)
    return arms[slice(*rows), slice(*columns)]


def _shaded(lit: Singles, empty: Singles) -> Mask:
    """(h, w) where all colours are darker by one factor that a shadow may have."""
    share = cv2.divide(lit, empty)
    b, g, r = share[..., 0], share[..., 1], share[..., 2]
    most, least = np.maximum(np.maximum(b, g), r), np.minimum(np.minimum(b, g), r)
    return np.asarray((most - least < _EVEN) & (most < _SHADE[1]) & (least > _SHADE[0]), np.bool_)


def _shape(polygon: Floats) -> tuple[tuple[float, float], float, float, tuple[float, float, float], float] | None:
    """Centroid, long axis, elongation, (area, length, width) of a convex polygon (N, 2) mm, and which share of its
    length lies along the axis of the centroid; None if it is flat.
    """
    m = cv2.moments(polygon.astype(np.float32)[:, None])
    if m["m00"] <= 0:
        return None
    xx, yy, xy = (m[name] / m["m00"] for name in ("mu20", "mu02", "mu11"))
    axis_rad = 0.5 * math.atan2(2 * xy, xx - yy)
    middle, half = (xx + yy) / 2, math.hypot((xx - yy) / 2, xy)
    c, s = math.cos(axis_rad), math.sin(axis_rad)
    along = polygon @ np.array([[c, -s], [s, c]])
    long, wide = np.ptp(along, axis=0)
    elongation = math.sqrt((middle + half) / max(middle - half, 1e-9))
    x, y = m["m10"] / m["m00"], m["m01"] / m["m00"]
    fore = float(along[:, 0].max()) - c * x - s * y
    return (x, y), axis_rad, elongation, (m["m00"], float(long), float(wide)), fore / max(float(long), 1e-9)
