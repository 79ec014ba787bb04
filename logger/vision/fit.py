"""Lay the learnt hull over one picture: place and heading by least squares along its rays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.vision.hull import Floats, Hull, Look, look
from logger.vision.light import PLAIN, Tone
from logger.vision.plane import Plane, Singles, sample
from logger.vision.rays import CORRELATED, outside, relit, weights

_CLOSE_PX = 0.05
"""A step that moves the edge by less than this (root mean square of the rays) ends the search."""
_U_HEADING_RAD = 0.05
"""How far a heading is believed to turn from its start: only a round boat, which shows none, is held by it."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """One picture's answer, on the plane it was read on."""

    place_mm: Floats
    heading_rad: float
    covariance: Floats
    """(3, 3) of x, y (mm) and heading (rad), random part."""
    strength: float
    """1 if the boat stands out from the water as it was learnt to, 0 if only water is there."""
    misfit: float
    """Root mean square of residual over noise; 1 is ordinary."""
    known: float
    """Share of the samples that could be used (in the picture, over known water)."""
    agreeing: float
    """Share of the rays that show the boat's edge as it was learnt, each counting as much as it has to show: a fit of
    the wrong half has few."""

    @property
    def good(self) -> bool:
        """Whether the picture really shows this hull at this place."""
        return self._stands_out and self.misfit < 4.0

    @property
    def odd(self) -> bool:
        """Whether the picture shows the hull all round, but with something in or beside it: doubtful, yet no other."""
        return self._stands_out and 4.0 <= self.misfit < 8.0

    @property
    def _stands_out(self) -> bool:
        return 0.7 < self.strength < 1.35 and self.known > 0.5 and self.agreeing > 0.7


class Fitter:
    """Lays one hull over pictures of one film."""

    def __init__(self, hull: Hull, plane: Plane, water: Singles, tone: Tone = PLAIN) -> None:
        self.hull, self.plane, self._water, self._tone = hull, plane, water, tone
        self._rays, self._distance = hull.rays(), hull.distance()
        self._bundle = hull.bundle()
        self._walls, self._arms = hull.walls(), hull.arms()
        self._slope = hull.freeboard_mm / plane.height_mm
        self._foot = plane.foot_mm
        self._close = _CLOSE_PX * plane.step_mm(plane.foot_mm)
        self._belief = np.diag([1e-9, 1e-9, 1 / _U_HEADING_RAD**2])

    def fit(self, picture: NDArray[np.uint8], *, place_mm: Floats, heading_rad: float, steps: int = 5) -> Fit:
        """The best place near `place_mm` (2,) on the plane, from at most `steps` Gauss-Newton steps."""
        place, heading = np.array(place_mm, np.float64), float(heading_rad)
        limit = 3 * self.hull.blur_mm
        for _ in range(steps):
            seen, water, drawn = self._compared(picture, place, heading)
            residual = seen - drawn.grey[0]
            weight = weights(residual, self.hull.noise)
            known = weight > 0
            by_shift, residual = np.where(known, drawn.by_shift[0], 0.0), np.where(known, residual, 0.0)
            lever = self._lever(heading)
            weighted = weight * by_shift / CORRELATED
            normal = (lever * (weighted * by_shift).sum(axis=1)[:, None]).T @ lever + self._belief
            covariance = np.asarray(np.linalg.inv(normal), np.float64)
            change = covariance @ (lever.T @ (weighted * residual).sum(axis=1))
            place = place + np.clip(change[:2], -limit, limit)
            heading += float(np.clip(change[2], -0.1, 0.1))
            if np.sqrt(np.mean((lever @ change) ** 2)) < self._close:
                break
        boat = np.where(known, drawn.grey[0] - water, 0.0)
        shown, whole = (weight * boat * np.where(known, seen - water, 0.0)).sum(axis=1), (weight * boat**2).sum(axis=1)
        strength = shown.sum() / max(whole.sum(), 1e-12)
        agreeing = float(whole[np.abs(shown - whole) < 0.4 * whole].sum() / max(whole.sum(), 1e-12))
        share = float(known.mean())
        misfit = float(np.sqrt(np.mean((residual / self.hull.noise)[known] ** 2))) if share else np.inf
        covariance = covariance * (max(1.0, misfit**2) if share else 1.0)
        return Fit(place, heading, covariance, float(strength), misfit, share, agreeing)

    def _lever(self, heading: float) -> Floats:
        """(M, 3) by how much each ray's edge moves outward per mm of x, per mm of y, and per radian."""
        c, s = np.cos(heading), np.sin(heading)
        x, y = self.hull.normal.T
        lever: Floats = np.array([c * x - s * y, s * x + c * y, self._arms]).T
        return lever

    def _compared(self, picture: NDArray[np.uint8], place: Floats, heading: float) -> tuple[Floats, Floats, Look]:
        """Along all rays (M, K): seen light, water under the shadow, and the model (1, M, K)."""
        at, turn = place[None], np.array([heading])
        u, v = (along[0] for along in self._bundle.pixels(self.plane, at, turn))
        reach = self._walls.reach(at - self._foot, turn, self._slope).mm
        bare = sample(self._water, u, v)[None]
        water: Floats = bare.astype(np.float64)
        if self.hull.shadow.darkness > 0:
            centre = self.hull.shadow.moved(at, turn, self._foot)
            water = bare * (1 - self.hull.shadow.darkness * self.hull.shadow.share(self._distance, self._rays, centre))
        seen = relit(sample(picture, u, v, self._tone)[None], water, outside(self.hull, reach))
        return seen[0], water[0], look(self.hull, water, reach)
