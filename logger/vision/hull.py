"""What one boat looks like from above: a deck, the side wall below it, and nothing of the water.

The camera sees the deck's edge at the height of the freeboard and, on the sides that face the lens's foot point, a
band of wall down to the waterline. Everything is drawn on the plane of the deck, z = freeboard, as rays that cross the
deck's edge at right angles. Along a ray, t mm outward from the edge, the picture is three layers with soft edges

    I(t) = B + (D - B)·F(-t) + (W - B)·(F(reach - t) - F(-t)),     F(t) = normal distribution of width `blur_mm`

with B the empty water, D the deck, W the wall. With the lens H above the water and its foot point at c, the waterline
point below a deck edge point b (boat frame, normal n, boat at p) is seen, on the deck's plane, beyond the edge by

    reach = -(freeboard/H)·n·(p - c) - taper·n·b         (none is seen if this is negative)

where `taper` is how much smaller the waterline looks than the deck: flare of the sides and the plane's own scale. That
is so for a straight side. The waterline of a bent one looks moved along the side too, and bends away from the ray: the
wall ends where the ray meets the moved waterline (class Walls).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from logger.vision.bundle import Bundle
from logger.vision.outline import convex, sharpened
from logger.vision.shadow import NO_SHADOW, Distance, Shadow

Floats = NDArray[np.float64]

_ROOT_2PI = float(np.sqrt(2 * np.pi))
_SAME_SIDE = -0.1
"""Cosine between normals above which two rays are on one side of the boat."""
_CLEAR_OF_SIDE = 2.0
"""How many blurs away another side of the boat no longer shows."""


@dataclass(frozen=True, slots=True, eq=False)
class Hull:
    """The learnt look of one boat. Rays are numbered anticlockwise around the deck."""

    edge_mm: Floats
    """(M, 2) points of the deck's edge, boat frame, area centroid at the origin, anticlockwise."""
    normal: Floats
    """(M, 2) outward unit normals there."""
    is_corner: NDArray[np.bool_]
    """(M,) whether the ray stands on a corner of the deck."""
    offsets_mm: Floats
    """(K,) where the rays are sampled, outward from the edge."""
    deck: Floats
    """(M, K) grey level of the deck along each ray (constant outside the edge)."""
    wall: Floats
    """(M,) grey level of the side below each ray."""
    noise: Floats
    """(M, K) standard deviation of one sample, grey levels."""
    freeboard_mm: float
    taper: float
    """How much smaller the waterline looks than the deck, as a share of the size."""
    blur_mm: float
    shadow: Shadow = NO_SHADOW
    wall_bend: float = 0.0
    """How far light of wall and water is from a straight mixture (light.py)."""

    def outline(self) -> Floats:
        """(M', 2) the deck's outline with its corners, boat frame."""
        return sharpened(self.edge_mm, self.is_corner, blur_mm=self.blur_mm)

    def thinned(self) -> Hull:
        """The same hull with every second ray, all those on corners, and those beside them."""
        beside = np.roll(self.is_corner, 1) | np.roll(self.is_corner, -1)
        kept = self.is_corner | beside | (np.arange(len(self.edge_mm)) % 2 == 0)
        rays = {name: getattr(self, name)[kept] for name in ("edge_mm", "normal", "is_corner", "deck", "wall", "noise")}
        return replace(self, **rays)

    def waterline(self, height_mm: float) -> Floats:
        """(M', 2) convex waterline outline, boat frame, under a lens `height_mm` above the water."""
        smaller = (1 - self.taper) / (1 - self.freeboard_mm / height_mm)
        return convex(self.outline()) * smaller

    def rays(self) -> Floats:
        """(M, K, 2) sample points, boat frame."""
        points: Floats = self.edge_mm[:, None, :] + self.offsets_mm[None, :, None] * self.normal[:, None, :]
        return points

    def bundle(self) -> Bundle:
        """The rays, ready to be seen at any place."""
        return Bundle(edge_mm=self.edge_mm, normal=self.normal, offsets_mm=self.offsets_mm)

    def own(self) -> NDArray[np.bool_]:
        """(M, K) which samples show one side of the boat only: near a sharp bow there are two."""
        gap = ((self.edge_mm[:, None] - self.edge_mm[None]) * self.normal[:, None]).sum(axis=2)
        slant = self.normal @ self.normal.T
        inward = np.minimum(self.offsets_mm, 0.0)
        # (M, j, K): how far each sample is from the side at j, inward
        room = gap.T[:, :, None] - slant[:, :, None] * inward
        room[slant > _SAME_SIDE] = np.inf
        blur = min(self.blur_mm, self.offsets_mm[1] - self.offsets_mm[0])  # a rough start is blurred on purpose
        alone = room.min(axis=1) > _CLEAR_OF_SIDE * blur
        return np.asarray(alone & ~self.is_tip()[:, None], np.bool_)

    def is_tip(self) -> NDArray[np.bool_]:
        """(M,) corners sharper than a right angle: a pointed bow."""
        between = (np.roll(self.normal, 1, axis=0) * np.roll(self.normal, -1, axis=0)).sum(axis=1)
        return np.asarray(self.is_corner & (between < _SAME_SIDE), np.bool_)

    def distance(self) -> Distance:
        """How far any point of the boat frame is from the deck's edge."""
        return Distance(self.edge_mm, self.normal)

    def positions(self, place_mm: Floats, heading_rad: Floats) -> Floats:
        """Sample points (N, M, K, 2) on the deck's plane for boats at `place_mm` (N, 2) and `heading_rad` (N,)."""
        c, s = np.cos(heading_rad)[:, None, None], np.sin(heading_rad)[:, None, None]
        ray = self.rays()
        x, y = ray[None, ..., 0], ray[None, ..., 1]
        place = place_mm[:, None, None, :]
        return np.stack([place[..., 0] + c * x - s * y, place[..., 1] + s * x + c * y], axis=-1)

    def typical_noise(self) -> float:
        """Standard deviation of an ordinary sample, light of 255."""
        known = self.noise[np.isfinite(self.noise)]
        return float(np.median(known)) if known.size else np.inf

    def walls(self) -> Walls:
        """The walls below the deck's edge."""
        return Walls(self)

    def span(self) -> Floats:
        """(M,) n·b: how far each edge point lies out along its own normal, mm."""
        out: Floats = (self.normal * self.edge_mm).sum(axis=1)
        return out

    def arms(self) -> Floats:
        """(M,) how far an edge point moves outward per radian of heading, mm."""
        # a turn moves b to b + dθ·(-b_y, b_x)
        out: Floats = -self.edge_mm[:, 1] * self.normal[:, 0] + self.edge_mm[:, 0] * self.normal[:, 1]
        return out


@dataclass(frozen=True, slots=True, eq=False)
class Reach:
    """How much wall is seen along the M rays of N boats, and how it changes; (N, M)."""

    mm: Floats
    """Negative where the wall is hidden."""
    by_slope: Floats
    """mm per unit of freeboard over the lens's height"""
    by_taper: Floats
    """mm per unit of taper"""


class Walls:
    """The sides of one hull, seen from a lens that need not be above them."""

    def __init__(self, hull: Hull) -> None:
        self._x, self._y = hull.edge_mm.T.copy()
        self._nx, self._ny = hull.normal.T.copy()
        self._taper = hull.taper
        # how far back along the side the waterline's own point is, and which rays are on the side
        self._back = hull.taper * (self._y * self._nx - self._x * self._ny)
        self._ray = np.arange(len(hull.edge_mm))
        first, count = _sides(hull.is_corner)
        self._first, self._last, self._next = first, first + np.maximum(count - 2, 0), np.minimum(1, count - 1)
        step = np.hypot(*(np.roll(hull.edge_mm, -1, axis=0) - hull.edge_mm).T)
        sides = zip(first, count, strict=True)
        self._step = np.array([step[start : start + max(along - 1, 1)].mean() for start, along in sides])
        self._closed = not hull.is_corner.any()

    def reach(self, away_mm: Floats, heading_rad: Floats, slope: float) -> Reach:
        """What is seen of the walls of N boats.

        Args:
            away_mm: (N, 2) from the foot point.
            heading_rad: (N,).
            slope: freeboard over the lens's height.
        """
        # coordinate by coordinate: with so few rays NumPy's calls cost more than its sums
        c, s = np.cos(heading_rad)[:, None], np.sin(heading_rad)[:, None]
        away_x, away_y = away_mm.reshape(-1, 2).T[..., None]
        ahead, left = c * away_x + s * away_y, c * away_y - s * away_x
        start, end = self._meeting(-slope * ahead, -slope * left)
        x, y = self._x[start], self._y[start]
        # where the ray meets the line through the two moved points of the waterline
        alone = start == end
        along_x = np.where(alone, -self._ny, self._x[end] - x)
        along_y = np.where(alone, self._nx, self._y[end] - y)
        facing = np.maximum(along_y * self._nx - along_x * self._ny, 1e-9)
        by_slope = (along_x * left - along_y * ahead) / facing
        by_taper = (along_x * y - along_y * x) / facing
        out = (along_y * (x - self._x) - along_x * (y - self._y)) / facing
        return Reach(out + by_slope * slope + by_taper * self._taper, by_slope, by_taper)

    def _meeting(self, move_x: Floats, move_y: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """(N, M) numbers of the two edge points between which each ray meets the waterline moved by (N, 1) mm."""
        back = self._back + move_x * self._ny - move_y * self._nx
        wanted = self._ray + np.floor(back / self._step).astype(np.int64)
        if self._closed:
            return wanted % len(self._x), (wanted + 1) % len(self._x)
        start = np.minimum(np.maximum(wanted, self._first), self._last)
        return start, start + self._next


def _sides(is_corner: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(M,) first ray and number of rays of the side that each ray is on; a corner is a side of its own."""
    number = np.cumsum(is_corner | np.roll(is_corner, 1))
    _, first, which, count = np.unique(number, return_index=True, return_inverse=True, return_counts=True)
    return first[which], count[which]


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """The model's picture along all rays of N frames, and how it changes; all (N, M, K) grey levels."""

    grey: Floats
    by_shift: Floats
    """per mm of the whole boat outward along the ray"""
    deck_share: Floats
    """(1, 1, K), the same on every ray"""
    wall_share: Floats
    deck: Floats
    """The deck less the water."""
    wall: Floats
    """The wall less the water."""
    edge: Floats
    """(K,) per mm, how the deck's share ends."""
    foot: Floats
    """per mm, how the wall's share ends"""
    hull: Hull
    reach_mm: Floats
    """(N, M) of the wall."""

    @property
    def by_reach(self) -> Floats:
        """Per mm of wall."""
        return self.foot * self.wall * (self.reach_mm > 0)[:, :, None]

    @property
    def by_wall(self) -> Floats:
        """Per grey level of the wall."""
        return self.wall_share

    @property
    def by_blur(self) -> Floats:
        """Per mm of blur."""
        seen = np.maximum(self.reach_mm, 0.0)[:, :, None]
        u, w = self.hull.offsets_mm / self.hull.blur_mm, (self.hull.offsets_mm - seen) / self.hull.blur_mm
        changed: Floats = u * self.edge * self.deck + (w * self.foot - u * self.edge) * self.wall
        return changed


def look(hull: Hull, water: Floats, reach_mm: Floats) -> Look:
    """Draw the three layers over `water` (N, M, K) with walls of `reach_mm` (N, M), negative = hidden."""
    u = hull.offsets_mm / hull.blur_mm
    deck_share = ndtr(-u)[None, None, :]
    edge = np.exp(-u * u / 2) / (_ROOT_2PI * hull.blur_mm)
    # a hidden wall has no share, and mixes with nothing
    is_seen = reach_mm > 0
    seen = reach_mm[is_seen][:, None]
    bend = hull.wall_bend * np.minimum(seen / (2 * hull.blur_mm), 1.0)
    w = (hull.offsets_mm - seen) / hull.blur_mm
    covered = ndtr(-w)
    wall_share, foot = np.zeros_like(water), np.broadcast_to(edge, water.shape).copy()
    wall_share[is_seen] = covered * (1 + bend * (1 - covered)) - deck_share[0]
    foot[is_seen] = np.exp(-w * w / 2) * (1 + bend * (1 - 2 * covered)) / (_ROOT_2PI * hull.blur_mm)
    deck, wall = hull.deck[None] - water, hull.wall[None, :, None] - water
    return Look(
        grey=water + deck * deck_share + wall * wall_share,
        by_shift=edge * deck + (foot - edge) * wall,
        deck_share=deck_share,
        wall_share=wall_share,
        deck=deck,
        wall=wall,
        edge=edge,
        foot=foot,
        hull=hull,
        reach_mm=reach_mm,
    )
