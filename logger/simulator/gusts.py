"""Puffs of the fan that run down the tank and roughen the water as they pass: where they are, glints flash."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.simulator.basin import Basin
from logger.simulator.tiers import Tier

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Gusts:
    """A train of puffs along +x, one after the other."""

    strength: float
    """How much steeper the ripples are inside a puff, relative; 0: there are none."""
    speed_mm_per_s: float
    apart_mm: float
    long_mm: float
    """Half length of a puff along x."""
    wide_mm: float
    """Half width of a puff across."""
    aside_mm: float
    begin_mm: float

    def gain(self, points_mm: Floats, t_s: float) -> Floats:
        """(N,) how steep the ripples are at points (N, 2), relative to calm air between the puffs.

        A puff is much longer than a ripple, so that the slope of its own envelope is left out.
        """
        along = points_mm[:, 0] - self.begin_mm - self.speed_mm_per_s * t_s
        number = np.floor(along / self.apart_mm + 0.5)
        # each puff keeps to its own side of the middle
        across = points_mm[:, 1] - self.aside_mm * np.sin(2.4 * number)
        near = ((along - number * self.apart_mm) / self.long_mm) ** 2 + (across / self.wide_mm) ** 2
        return np.asarray(1.0 + self.strength * np.exp(-near))


def draw_gusts(rng: np.random.Generator, tier: Tier, basin: Basin) -> Gusts:
    """How the fan puffs."""
    return Gusts(
        tier.gust * rng.uniform(0.4, 1.0), rng.uniform(250, 900), rng.uniform(600, 1600), rng.uniform(90, 220),
        basin.half_width_mm * rng.uniform(0.4, 1.0), basin.half_width_mm * rng.uniform(0.2, 0.6), basin.back_mm,
    )  # fmt: skip
