"""Does the water stand where it stood when the plane was calibrated? A picture from then against one of now.

Lower water lets the floor sink from the camera's sight by part of that: through n = 1.333 a floor point at distance r
from the foot of a lens at height H over water of depth d is seen in the direction r·n / (n·H + d), and 1 mm less water
makes n·H + d longer by n − 1 = 0.33 mm. So the whole floor shrinks in the picture by 0.02 % for each mm, while the rim
stays. Pieces of the floor and pieces about the tank are looked for in the new picture (patches.py); movement of the
camera and change of level are fitted together.

What it means: a thing on water that stands lower by δ is read at r·H / (H + δ), so lengths come out too short by δ / H.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.lens import Floats
from calibration.patches import Grey, Patches, Readings, look, sharp, take
from calibration.waterplane import View

FEWEST_WET_COUNT, FEWEST_DRY_COUNT = 25, 20
"""With fewer pieces on the floor, or about the tank, nothing is told."""
_WALL_SHARE, _WALL_LEAST_MM, _WALL_MOST_MM = 0.15, 15.0, 80.0
"""Pieces so near the wall, as a part of the narrower side, may be on it."""
_ROUNDS_COUNT = 6
_BIWEIGHT = 4.7
_LEAST_U_PX = 0.03
_U_SHARED_PX = 0.02
"""Reading between pixels, and light that has changed: what may be the same over the whole floor."""
_MOST_OFF_PX = 12.0
_ALIKE = 0.6
_LEAST_SHARE = 0.5
"""Of the floor's pieces so many must be found again."""


@dataclass(frozen=True, slots=True)
class Level:
    """How the water stands against then."""

    higher_mm: float
    """By how much more; negative: there is less water."""
    u_higher_mm: float
    """Standard uncertainty of that."""
    wet_count: int
    """Readings of the floor that went along."""


@dataclass(frozen=True, slots=True)
class LevelEffect:
    """What another level does to what is measured, if nobody knows of it."""

    scale_ratio: float
    """Measured lengths over true ones."""
    most_mm: float
    """By how much the place that is farthest off is measured beside its true place."""

    @property
    def percent(self) -> float:
        """Of measured lengths, too long; negative: too short."""
        return 100 * (self.scale_ratio - 1)


def level_effect(view: View, higher_mm: float, places_mm: ArrayLike) -> LevelEffect:
    """What it does that the water stands `higher_mm` more than calibrated, at places (N, 2) where it matters."""
    camera = view.pose.camera_mm
    height = float(camera[2])
    ratio = height / (height - higher_mm)
    away = np.linalg.norm(np.asarray(places_mm, np.float64).reshape(-1, 2) - camera[:2], axis=1)
    return LevelEffect(ratio, float(away.max()) * abs(ratio - 1))


def water_level(view: View, then: Grey, now: Grey, *, water_mm: ArrayLike, depth_mm: float) -> Level | str:
    """By how much the water stands higher now than then.

    Args:
        view: The camera as it was calibrated.
        then: A grey picture of that time, as large as the calibration's.
        now: One of now.
        water_mm: (N, 2) outline of the water.
        depth_mm: How deep it was then.

    Returns:
        The level; or, where it cannot be told, why not.
    """
    pieces = take(sharp(then))
    if not len(pieces.centres_px):
        return "the kept picture shows nothing to hold on to"
    wet, dry = _sides(view, pieces, np.asarray(water_mm, np.float64).reshape(-1, 2))
    if np.count_nonzero(wet) < FEWEST_WET_COUNT:
        return f"only {np.count_nonzero(wet)} edges or corners are to be seen on the floor"
    if np.count_nonzero(dry) < FEWEST_DRY_COUNT:
        return f"only {np.count_nonzero(dry)} edges or corners are to be seen about the tank"
    kept = wet | dry
    pieces = Patches(pieces.centres_px[kept], pieces.levels[kept], pieces.slopes[kept], pieces.noise_levels)
    model = _Model(view, pieces.centres_px, wet[kept], depth_mm)
    return _fitted(model, pieces, sharp(now))


def _sides(view: View, pieces: Patches, water: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which pieces are on the floor, and which stand about the tank; those near the wall are neither."""
    places = view.to_plane(pieces.centres_px)
    polygon = water.astype(np.float32).reshape(-1, 1, 2)
    inside = np.array(
        [cv2.pointPolygonTest(polygon, (float(x), float(y)), True) for x, y in np.nan_to_num(places, nan=1e7)]
    )
    narrow = float(np.ptp(water, axis=0).min())
    return inside > np.clip(_WALL_SHARE * narrow, _WALL_LEAST_MM, _WALL_MOST_MM), inside < -5.0


class _Model:
    """How pieces move in the picture with the camera's pose (rad, mm) and the water's level (mm)."""

    def __init__(self, view: View, centres_px: Floats, wet: NDArray[np.bool_], depth_mm: float) -> None:
        self._view, self.centres_px, self.wet, self._depth_mm = view, centres_px, wet, depth_mm
        self._floor = view.to_floor(centres_px[wet], depth_mm=depth_mm)
        dry = view.to_plane(centres_px[~wet])
        self._dry = np.column_stack([dry, np.zeros(len(dry))])

    def pixels(self, change: Floats) -> Floats:
        """(N, 2) where the pieces are after a `change` (7,): turn, shift, level."""
        moved = self._view.pose.moved(change[:3], change[3:6])
        found = np.empty_like(self.centres_px)
        found[~self.wet] = View(self._view.lens, moved).to_pixels(self._dry)
        # higher water is the same as everything else being lower
        over = View(self._view.lens, moved.moved(np.zeros(3), [0.0, 0.0, -change[6]]))
        floor = np.column_stack([self._floor, np.full(len(self._floor), -(self._depth_mm + change[6]))])
        found[self.wet] = over.to_pixels_through_water(floor)
        return found

    def slopes(self, change: Floats) -> Floats:
        """(N, 2, 7)"""
        one_px = 1 / self._view.lens.fx_px
        one_mm = one_px * float(self._view.pose.camera_mm[2])
        columns = []
        for step in np.diag([one_px] * 3 + [one_mm] * 3 + [2.0]):
            ahead, behind = (self.pixels(change + sign * step) for sign in (1, -1))
            columns.append((ahead - behind) / (2 * np.abs(step).sum()))
        return np.stack(columns, -1)


def _fitted(model: _Model, pieces: Patches, now: object) -> Level | str:
    change = np.zeros(7)
    stretch = np.broadcast_to(np.eye(2), (len(pieces.centres_px), 2, 2))
    for turn in range(_ROUNDS_COUNT):
        seen = look(pieces, now, model.pixels(change), stretch)  # type: ignore[arg-type]
        levers = np.einsum("mi,mik->mk", seen.direction, model.slopes(change)[seen.patch])
        clear = seen.likeness > _ALIKE
        if np.count_nonzero(clear & model.wet[seen.patch]) < _LEAST_SHARE * np.count_nonzero(model.wet[seen.patch]):
            return "too little of the floor is found again: another light, something on it, or rough water"
        step, covariance, used = _step(seen, levers, clear, is_first=turn == 0)
        change = change + step
        if np.abs(model.pixels(change) - pieces.centres_px).max() > _MOST_OFF_PX:
            return "the picture has moved too far"
    wet = used & model.wet[seen.patch]
    if np.count_nonzero(wet) < FEWEST_WET_COUNT:
        return f"only {np.count_nonzero(wet)} readings of the floor go along with any one level"
    together = float(np.sqrt(np.mean(levers[wet, 6] ** 2)))
    u = float(np.hypot(np.sqrt(covariance[6, 6]), _U_SHARED_PX / together))
    return Level(float(change[6]), u, int(np.count_nonzero(wet)))


def _step(
    seen: Readings, levers: Floats, clear: NDArray[np.bool_], *, is_first: bool
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """By how much (7,) the model still has to move, its covariance, and which readings went along."""
    u = np.hypot(seen.u_px, _LEAST_U_PX)
    scale = np.abs(levers).max(0)
    scaled, step = levers / scale, np.zeros(7)
    belief = np.diag([1e-6] * 7)
    weight = clear / (u * np.maximum(np.abs(seen.off_px), u)) if is_first else clear / u**2
    used = clear
    for _ in range(8):
        normal = (scaled * weight[:, None]).T @ scaled + belief
        step = np.linalg.solve(normal, (scaled * weight[:, None]).T @ seen.off_px)
        rest = seen.off_px - scaled @ step
        spread = max(1.4826 * float(np.median(np.abs(rest[clear]) / u[clear])), 1.0)
        far = np.minimum(np.abs(rest) / (_BIWEIGHT * spread * u), 1.0)
        weight = clear * (1 - far**2) ** 2 / (spread * u) ** 2
        used = clear & (far < 1)
    covariance = np.asarray(np.linalg.inv(normal), np.float64) / np.outer(scale, scale)
    return step / scale, covariance, used
