"""Lay the learnt hull over one picture: place and heading by least squares along its rays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.vision.hull import Floats, Hull, look
from logger.vision.light import PLAIN, Tone
from logger.vision.plane import Plane, Singles, sample
from logger.vision.rays import CORRELATED, outside, relit, showing, weights

_CLOSE_PX = 0.05
"""A step that moves the edge by less than this (root mean square of the rays) ends the search."""
_U_HEADING_RAD = 0.05
"""How far a heading is believed to turn from its start: only a round boat, which shows none, is held by it."""
_U_NEAR_MM, _U_NEAR_RAD = 3.0, 0.02
"""How far a boat of which a part is seen is believed to be from where it must be, whichever step it is in."""
_WRONG_AT_FIRST, _WRONG = 0.5, 0.2
"""A ray half shows the boat's edge if so much of what it has to show is wrong; more at first, as the start is rough."""
_LEAST_SHOWN, _U_PART_MM, _U_PART_RAD = 0.3, 1.5, 0.04
"""A part of the boat tells of the whole if it has so much to show, and tells place and heading as well as this."""


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
    is_partial: bool = False
    """Whether only those rays were used that show the boat's edge."""

    @property
    def good(self) -> bool:
        """Whether the picture really shows this hull at this place."""
        if self.is_partial:
            u_place = float(np.sqrt(np.linalg.eigvalsh(self.covariance[:2, :2])[-1]))
            u_heading = float(np.sqrt(self.covariance[2, 2]))
            return self.agreeing > _LEAST_SHOWN and u_place < _U_PART_MM and u_heading < _U_PART_RAD
        return self._stands_out and self.misfit < 4.0

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
        self._near = np.diag([1 / _U_NEAR_MM**2, 1 / _U_NEAR_MM**2, 1 / _U_NEAR_RAD**2])

    def fit(self, picture: NDArray[np.uint8], *, place_mm: Floats, heading_rad: float, steps: int = 5) -> Fit:
        """The best place near `place_mm` (2,) on the plane, from at most `steps` Gauss-Newton steps."""
        place, heading = np.array(place_mm, np.float64), float(heading_rad)
        for _ in range(steps):
            seen = self._compared(picture, place, heading)
            step = self._step(seen, heading, self._belief)
            place, heading = step.moved(place, heading, most_mm=3 * self.hull.blur_mm, most_rad=0.1)
            if step.rms_mm < self._close:
                break
        shown = (seen.weight * seen.boat * seen.apart).sum(axis=1)
        whole = (seen.weight * seen.boat**2).sum(axis=1)
        strength = shown.sum() / max(whole.sum(), 1e-12)
        agreeing = float(whole[np.abs(shown - whole) < 0.4 * whole].sum() / max(whole.sum(), 1e-12))
        misfit = seen.misfit(self.hull.noise, seen.known)
        covariance = step.covariance * (max(1.0, misfit**2) if np.isfinite(misfit) else 1.0)
        return Fit(place, heading, covariance, float(strength), misfit, float(seen.known.mean()), agreeing)

    def fit_partly(self, picture: NDArray[np.uint8], *, place_mm: Floats, heading_rad: float, steps: int = 6) -> Fit:
        """The best place near one that is nearly right already, from those rays that show the boat's edge.

        A hand, a sail or a straw hides some of the rays; which ones is judged anew in every step. What is good here is
        only so because the boat was known to be near: by itself a part may be like a part of something else.
        """
        place, heading = np.array(place_mm, np.float64), float(heading_rad)
        for number in range(steps):
            seen = self._compared(picture, place, heading)
            half = _WRONG_AT_FIRST if number == 0 else _WRONG
            shows = showing(seen.residual, seen.boat, self.hull.noise, half=half)
            step = self._step(seen, heading, self._near, shows[:, None])
            place, heading = step.moved(place, heading, most_mm=self.hull.blur_mm, most_rad=0.03)
            if number > 1 and step.rms_mm < self._close:
                break
        is_shown, whole = shows > 0.5, ((seen.boat / self.hull.noise) ** 2).sum(axis=1)
        agreeing = float(whole[is_shown].sum() / max(whole.sum(), 1e-12))
        misfit = seen.misfit(self.hull.noise, seen.known & is_shown[:, None])
        covariance = step.covariance * (max(1.0, misfit**2) if np.isfinite(misfit) else 1.0)
        return Fit(place, heading, covariance, 1.0, misfit, float(seen.known.mean()), agreeing, is_partial=True)

    def _step(self, seen: _Compared, heading: float, belief: Floats, shows: Floats | float = 1.0) -> _Step:
        """One Gauss-Newton step; each ray counts as much as it `shows` (M, 1)."""
        lever = self._lever(heading)
        weighted = shows * seen.weight * seen.by_shift / CORRELATED
        normal = (lever * (weighted * seen.by_shift).sum(axis=1)[:, None]).T @ lever + belief
        covariance = np.asarray(np.linalg.inv(normal), np.float64)
        change = covariance @ (lever.T @ (weighted * seen.residual).sum(axis=1))
        return _Step(change, covariance, float(np.sqrt(np.mean((lever @ change) ** 2))))

    def _lever(self, heading: float) -> Floats:
        """(M, 3) by how much each ray's edge moves outward per mm of x, per mm of y, and per radian."""
        c, s = np.cos(heading), np.sin(heading)
        x, y = self.hull.normal.T
        lever: Floats = np.array([c * x - s * y, s * x + c * y, self._arms]).T
        return lever

    def _compared(self, picture: NDArray[np.uint8], place: Floats, heading: float) -> _Compared:
        """The picture along all rays against the model."""
        at, turn = place[None], np.array([heading])
        u, v = (along[0] for along in self._bundle.pixels(self.plane, at, turn))
        reach = self._walls.reach(at - self._foot, turn, self._slope).mm
        bare = sample(self._water, u, v)[None]
        water: Floats = bare.astype(np.float64)
        if self.hull.shadow.darkness > 0:
            centre = self.hull.shadow.moved(at, turn, self._foot)
            water = bare * (1 - self.hull.shadow.darkness * self.hull.shadow.share(self._distance, self._rays, centre))
        seen = relit(sample(picture, u, v, self._tone)[None], water, outside(self.hull, reach))
        drawn = look(self.hull, water, reach)
        residual = seen[0] - drawn.grey[0]
        weight = weights(residual, self.hull.noise)
        known = weight > 0
        return _Compared(
            residual=np.where(known, residual, 0.0),
            weight=weight,
            known=known,
            by_shift=np.where(known, drawn.by_shift[0], 0.0),
            boat=np.where(known, drawn.grey[0] - water[0], 0.0),
            apart=np.where(known, seen[0] - water[0], 0.0),
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Compared:
    """One picture along all rays; all (M, K), 0 where nothing is known."""

    residual: Floats
    """Seen light less the model's."""
    weight: Floats
    known: NDArray[np.bool_]
    by_shift: Floats
    boat: Floats
    """The model's light less the water's."""
    apart: Floats
    """Seen light less the water's."""

    def misfit(self, noise: Floats, which: NDArray[np.bool_]) -> float:
        """Root mean square of residual over noise of those samples; infinite if there are none."""
        return float(np.sqrt(np.mean((self.residual / noise)[which] ** 2))) if which.any() else np.inf


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """One step of a search."""

    change: Floats
    """(3,) of x, y and heading."""
    covariance: Floats
    rms_mm: float
    """How far it moves the edge, root mean square of the rays."""

    def moved(self, place: Floats, heading: float, *, most_mm: float, most_rad: float) -> tuple[Floats, float]:
        """Place and heading after it, no more than so far away."""
        turn = float(np.clip(self.change[2], -most_rad, most_rad))
        return place + np.clip(self.change[:2], -most_mm, most_mm), heading + turn
