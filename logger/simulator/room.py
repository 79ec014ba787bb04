"""What moves in the room and takes some of the light: people who walk past, blinds that sway."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from logger.simulator.basin import Basin
from logger.simulator.tiers import Tier

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Passer:
    """The shadow of somebody who walks along the tank, stays a while, and walks on: a long soft blot across it."""

    place_mm: tuple[float, float]
    """Where its middle is at the beginning, on the water."""
    speed_mm_per_s: float
    """Along x; it stops between the two times."""
    stops_s: tuple[float, float]
    reach_mm: tuple[float, float]
    """Half length along the shadow and half width across it."""
    lean_rad: float
    """Direction of its length."""
    soft_mm: float
    darkness: float
    """Share of the light that it takes."""

    def left(self, points_mm: Floats, t_s: float) -> Floats:
        """(N,) share of the light that reaches points (N, 2) on the water at `t_s`."""
        begin, end = self.stops_s
        walked = self.speed_mm_per_s * (min(t_s, begin) + max(0.0, t_s - end))
        off = points_mm - self.place_mm - (walked, 0.0)
        c, s = np.cos(self.lean_rad), np.sin(self.lean_rad)
        along, across = off @ (c, s), off @ (-s, c)
        length, width = self.reach_mm
        taken = _soft(along, length, self.soft_mm) * _soft(across, width, self.soft_mm)
        return np.asarray(1.0 - self.darkness * taken)


@dataclass(frozen=True, slots=True)
class Blinds:
    """Stripes of light and shade from a window, which sway a little, over a part of the tank."""

    middle_mm: tuple[float, float]
    half_mm: float
    """How far the striped part reaches from its middle along x."""
    lean_rad: float
    """Direction across the stripes."""
    pitch_mm: float
    sway_mm: float
    rate_rad_per_s: float
    soft_mm: float
    darkness: float
    """Share of the light that a slat takes."""

    def left(self, points_mm: Floats, t_s: float) -> Floats:
        """(N,) share of the light that reaches points (N, 2) on the water at `t_s`."""
        off = points_mm - self.middle_mm
        across = off @ (np.cos(self.lean_rad), np.sin(self.lean_rad))
        across = across + self.sway_mm * np.sin(self.rate_rad_per_s * t_s)
        nearest = (across + self.pitch_mm / 2) % self.pitch_mm - self.pitch_mm / 2
        taken = _soft(nearest, self.pitch_mm / 4, self.soft_mm) * _soft(off[:, 0], self.half_mm, 4 * self.soft_mm)
        return np.asarray(1.0 - self.darkness * taken)


def _soft(distance_mm: Floats, half_mm: float, soft_mm: float) -> Floats:
    """A bar from -half to half with edges softened by a Gaussian."""
    scale = np.sqrt(2.0) * soft_mm
    bar: Floats = (erf((distance_mm + half_mm) / scale) - erf((distance_mm - half_mm) / scale)) / 2
    return bar


def draw_room(rng: np.random.Generator, tier: Tier, basin: Basin, *, length_s: float) -> tuple[Passer | Blinds, ...]:
    """Who walks past and what sways during a recording of that length."""
    way = float(rng.choice([-1.0, 1.0]))
    tank_mm = basin.front_mm - basin.back_mm
    begin = basin.back_mm - 250.0 if way > 0 else basin.front_mm + 250.0
    speed = way * rng.uniform(40, 200)
    arrives = rng.uniform(0.2, 0.8) * (tank_mm + 250.0) / abs(speed)
    passer = Passer(
        (begin, rng.uniform(-0.8, 0.8) * basin.half_width_mm), speed,
        (arrives, arrives + rng.uniform(0.0, 0.5) * length_s), (rng.uniform(250, 700), rng.uniform(60, 160)),
        np.pi / 2 + rng.uniform(-0.6, 0.6), rng.uniform(12, 80), rng.uniform(0.15, 0.45),
    )  # fmt: skip
    blinds = Blinds(
        (basin.back_mm + rng.uniform(0.2, 0.8) * tank_mm, 0.0), rng.uniform(0.15, 0.35) * tank_mm,
        rng.uniform(-0.6, 0.6), rng.uniform(70, 200), rng.uniform(2, 25), rng.uniform(0.3, 1.5), rng.uniform(4, 15),
        rng.uniform(0.1, 0.3),
    )  # fmt: skip
    chances = rng.random(2)
    found: tuple[Passer | Blinds, ...] = ()
    found += (passer,) if chances[0] < tier.passers else ()
    return found + ((blinds,) if chances[1] < tier.blinds else ())
