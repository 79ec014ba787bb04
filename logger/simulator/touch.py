"""Somebody touches the boat while it runs: a straw's tip prods it, or a finger nudges it; its speed changes by that."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from logger.simulator.hull import Hull
from logger.simulator.physics import Motion, Push
from logger.simulator.visitors import SKINS, SLEEVES, STRAWS, Colour, Patch, arm, capsule
from logger.simulator.voyage import Voyage

Floats = NDArray[np.float64]
TouchedBy: TypeAlias = Literal["straw", "finger"]
_COMES_MM_PER_S2 = 1800.0
_SIGHT_MM = 900.0


def draw_push(rng: np.random.Generator, motion: Motion, *, until_s: float) -> Push:
    """One push in the middle of a run that would go as `motion`, and last until `until_s` after go."""
    at_s, lasts_s = rng.uniform(0.3, 0.8) * until_s, rng.uniform(0.12, 0.35)
    forward, share = rng.uniform(40, 140), rng.uniform(0.3, 0.7)
    brakes = bool(rng.random() < 0.3)
    speed = float(motion.at([at_s])[1, 0])
    return Push(at_s, lasts_s, -share * speed if brakes and speed > 20.0 else forward)


@dataclass(frozen=True, slots=True, eq=False)
class Touch:
    """What comes, stays at the hull as long as it pushes, and draws back."""

    voyage: Voyage
    push: Push
    by: TouchedBy
    contact_mm: Floats
    """(2,) where it meets the hull, boat frame."""
    toward_mm: Floats
    """(2,) unit vector from there to the arm, boat frame."""
    straw_mm: float
    z_mm: float
    size: float
    """Of the hand, over a grown-up's."""
    skin: Colour
    sleeve: Colour
    straw: Colour
    above: bool = True

    @property
    def from_s(self) -> float:
        """First moment of contact, seconds of the recording."""
        return self.voyage.go_s + self.push.at_s

    @property
    def to_s(self) -> float:
        """Last moment of contact."""
        return self.from_s + self.push.lasts_s

    @property
    def speed_change_mm_per_s(self) -> float:
        """Speed at the last moment of contact less that at the first: what push, drag and drive did together."""
        first, last = self.voyage.speed([self.from_s, self.to_s])
        return float(last - first)

    def tip_mm(self, t_s: float) -> Floats:
        """(2,) the foremost point of straw or finger, tank frame."""
        x, y, heading = self.voyage.pose([min(max(t_s, self.from_s), self.to_s)])[0]
        apart = max(self.from_s - t_s, t_s - self.to_s, 0.0)
        away = 0.5 * _COMES_MM_PER_S2 * apart**2
        tip: Floats = np.array([x, y]) + _turned(self.contact_mm + away * self.toward_mm, heading)
        return tip

    def patches(self, t_s: float) -> list[Patch]:
        """Straw and arm, or finger and arm, while they are near."""
        apart = max(self.from_s - t_s, t_s - self.to_s, 0.0)
        if 0.5 * _COMES_MM_PER_S2 * apart**2 > _SIGHT_MM:
            return []
        heading = float(self.voyage.pose([min(max(t_s, self.from_s), self.to_s)])[0, 2])
        tip, toward = self.tip_mm(t_s), _turned(self.toward_mm, heading)
        if self.by == "straw":
            end = tip + self.straw_mm * toward
            straw = Patch(capsule(tip + 3.0 * toward, end, 3.0, 3.0), self.z_mm, self.straw)
            return [straw, *arm(end, toward, size=self.size, z_mm=self.z_mm + 20, skin=self.skin, sleeve=self.sleeve)]
        thick = 8.0 * self.size
        knuckle = tip + 85 * self.size * toward
        finger = Patch(capsule(tip + thick * toward, knuckle, thick, 1.15 * thick), self.z_mm, self.skin)
        grip = tip + 45 * self.size * toward
        return [finger, *arm(grip, toward, size=self.size, z_mm=self.z_mm + 6, skin=self.skin, sleeve=self.sleeve)]


def _turned(vector: Floats, angle_rad: float) -> Floats:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([c * vector[0] - s * vector[1], s * vector[0] + c * vector[1]])


def draw_touch(rng: np.random.Generator, hull: Hull, voyage: Voyage) -> Touch | None:
    """Who gives the voyage its push, if it has one: at the stern to drive it on, at the bow to slow it."""
    if voyage.push is None:
        return None
    ends = hull.outline_mm[:, 0]
    ahead = voyage.push.gives_mm_per_s < 0
    side = float(rng.choice([-1.0, 1.0]))
    toward = np.array([0.6 if ahead else -0.6, 0.8 * side])
    contact = np.array([ends.max() if ahead else ends.min(), 0.0])
    by: TouchedBy = "straw" if rng.random() < 0.5 else "finger"
    skin, sleeve, straw = (chosen[rng.integers(len(chosen))] for chosen in (SKINS, SLEEVES, STRAWS))
    return Touch(
        voyage, voyage.push, by, contact, toward, rng.uniform(120, 190), 0.7 * hull.freeboard_mm,
        rng.uniform(0.62, 0.9), skin, sleeve, straw,
    )  # fmt: skip
