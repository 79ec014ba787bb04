"""Lay the learnt hull over one picture: place and heading by least squares along its rays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.vision.hull import Floats, Hull, look
from logger.vision.learning import outside, relit, weights
from logger.vision.plane import Plane, Singles, sample

_CORRELATED = 6.0
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

    @property
    def good(self) -> bool:
        """Whether the picture really shows this hull at this place."""
        return 0.7 < self.strength < 1.35 and self.misfit < 4.0 and self.known > 0.5


def fit(
    picture: NDArray[np.uint8],
    empty: Singles,
    plane: Plane,
    hull: Hull,
    *,
    place_mm: Floats,
    heading_rad: float,
    steps: int = 5,
) -> Fit:
    """The best place near `place_mm` (2,) on `plane`, from at most `steps` Gauss-Newton steps."""
    place, heading = np.array(place_mm, np.float64), float(heading_rad)
    distance, rays = hull.distance(), hull.rays()
    slope = hull.freeboard_mm / plane.height_mm
    close = 0.01 * plane.step_mm(place)
    normal = np.eye(3)
    for _ in range(steps):
        at, turn = place[None], np.array([heading])
        pixels = plane.pixels(hull.positions(at, turn))
        raw, bare = sample(picture, pixels[0])[None], sample(empty, pixels[0])[None]
        reach = hull.wall_lever(at, turn, plane.foot_mm) * slope - hull.taper * hull.span()
        share = hull.shadow.share(distance, rays, hull.shadow.moved(at, turn, plane.foot_mm))
        water: Floats = bare * (1 - hull.shadow.darkness * share)
        seen = relit(raw, water, outside(hull, reach))
        drawn = look(hull, water, reach)
        residual = seen - drawn.grey
        weight = weights(residual, hull.noise)[0]
        outward = _turned(hull.normal, heading)
        lever = np.column_stack([outward, hull.arms()])
        by_shift, r = np.nan_to_num(drawn.by_shift[0]), np.nan_to_num(residual[0])
        info = (weight * by_shift * by_shift).sum(axis=1)
        pull = (weight * by_shift * r).sum(axis=1)
        normal = (lever * info[:, None]).T @ lever / _CORRELATED
        belief = np.diag([1e-9, 1e-9, 1 / _U_HEADING_RAD**2])
        change = np.linalg.solve(normal + belief, lever.T @ pull / _CORRELATED)
        limit = 3 * hull.blur_mm
        place = place + np.clip(change[:2], -limit, limit)
        heading += float(np.clip(change[2], -0.1, 0.1))
        if max(abs(change[0]), abs(change[1])) < close and abs(change[2]) < 1e-3:
            break
    boat = np.nan_to_num(drawn.grey - water)[0]
    strength = (weight * boat * np.nan_to_num(seen - water)[0]).sum() / max((weight * boat * boat).sum(), 1e-12)
    scaled = residual[0] / hull.noise
    known = np.isfinite(scaled)
    misfit = float(np.sqrt(np.mean(scaled[known] ** 2))) if known.any() else np.inf
    widened = max(1.0, misfit**2) if known.any() else 1.0
    spread = np.linalg.inv(normal + np.diag([1e-9, 1e-9, 1 / _U_HEADING_RAD**2])) * widened
    covariance = np.asarray(spread, np.float64)
    return Fit(place, heading, covariance, float(strength), misfit, float(known.mean()))


def _turned(vectors: Floats, angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.column_stack([c * vectors[:, 0] - s * vectors[:, 1], s * vectors[:, 0] + c * vectors[:, 1]])
