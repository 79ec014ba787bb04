"""Masts and sails: what stands above the deck, swings, and hides it from a camera that looks from the side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.simulator.hull import Hull
from logger.simulator.tiers import Tier

Floats = NDArray[np.float64]
SAIL_PAINTS: dict[str, tuple[int, int, int]] = {
    "paper": (224, 230, 232),
    "blue film": (190, 130, 60),
    "orange cloth": (50, 120, 226),
    "green film": (96, 176, 86),
}


@dataclass(frozen=True, slots=True)
class Sail:
    """A mast with one sail, boat frame: x forward from the waterline centroid, z up from the water; mm."""

    square: bool
    """True: spread across the boat. False: a triangle behind the mast."""
    mast_x_mm: float
    foot_mm: float
    """Height of the sail's lower edge above the water."""
    top_mm: float
    reach_mm: float
    """Width of a square sail; length of a triangle's lower edge."""
    belly: float
    """How far it bulges, as a fraction of its reach."""
    angle_rad: float
    swing_rad: float
    swing_rate_rad_per_s: float
    mast_width_mm: float
    paint: str

    def cloth(self, t_s: float) -> Floats:
        """(M, 3) points whose hull, as seen, is the sail."""
        turn = self.angle_rad + self.swing_rad * np.sin(self.swing_rate_rad_per_s * t_s)
        c, s = np.cos(turn), np.sin(turn)
        low, high, reach = self.foot_mm, self.top_mm, self.reach_mm
        if self.square:
            edge = np.linspace(-0.5, 0.5, 7)
            arch = self.belly * (1 - (2 * edge) ** 2)
            flat = [(x, y, z) for z in (low, 0.6 * high + 0.4 * low, high) for x, y in zip(arch, edge, strict=True)]
        else:
            flat = [(0, 0, low), (0, 0, high), (-1, 0, low), (-0.5, self.belly, 0.65 * low + 0.35 * high)]
        local = np.array(flat, np.float64) * (reach, reach, 1)
        x, y = local[:, 0], local[:, 1]
        return np.column_stack([self.mast_x_mm + c * x - s * y, s * x + c * y, local[:, 2]])

    def mast(self, deck_mm: float) -> Floats:
        """(M, 3) points whose hull, as seen, is the mast."""
        half = self.mast_width_mm / 2
        ring = [(-half, -half), (half, -half), (half, half), (-half, half)]
        return np.array([(self.mast_x_mm + x, y, z) for z in (deck_mm, self.top_mm + 6) for x, y in ring])


def draw_sail(rng: np.random.Generator, tier: Tier, hull: Hull) -> Sail | None:
    """A sail that suits the hull, or none."""
    length, width = np.ptp(hull.outline_mm, axis=0)
    wanted, square = rng.random() < tier.sail, bool(rng.random() < 0.5)
    foot = hull.freeboard_mm + rng.uniform(8, 20)
    top = foot + float(np.clip(rng.uniform(0.5, 1.0) * length, 60, 190))
    sail = Sail(
        square=square, mast_x_mm=float(length * rng.uniform(-0.05, 0.18)), foot_mm=foot, top_mm=top,
        reach_mm=float(width * rng.uniform(0.7, 1.2) if square else length * rng.uniform(0.3, 0.45)),
        belly=rng.uniform(0.1, 0.25), angle_rad=rng.uniform(-0.35, 0.35), swing_rad=rng.uniform(0.02, 0.15),
        swing_rate_rad_per_s=rng.uniform(2, 6), mast_width_mm=rng.uniform(3, 6),
        paint=str(rng.choice(list(SAIL_PAINTS))),
    )  # fmt: skip
    return sail if wanted else None


@dataclass(frozen=True, slots=True)
class Rocking:
    """Small swings of roll and pitch about the waterline, which die away as the boat comes to rest."""

    roll_rad: float
    pitch_rad: float
    rate_rad_per_s: float
    phase_rad: float

    def lean(self, t_s: Floats, liveliness: Floats) -> tuple[Floats, Floats]:
        """Roll and pitch (N,) at times (N,); `liveliness` (N,) from 0 at rest to 1."""
        roll = self.roll_rad * liveliness * np.sin(self.rate_rad_per_s * t_s + self.phase_rad)
        pitch = self.pitch_rad * liveliness * np.sin(1.3 * self.rate_rad_per_s * t_s)
        return roll, pitch


def draw_rocking(rng: np.random.Generator, tier: Tier) -> Rocking:
    """How lively the boat is."""
    most = float(np.radians(tier.rock_deg))
    roll, pitch = most * rng.uniform(0.4, 1.0), 0.4 * most * rng.uniform(0.4, 1.0)
    return Rocking(roll, pitch, rng.uniform(5, 10), rng.uniform(0, 6.28))
