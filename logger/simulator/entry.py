"""How a boat comes late into the water: a hand brings it over the side wall and sets it down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
CARRIED_S = 1.4
"""How long the way from out of sight to the water takes."""
REACH_MM = 900.0
LIFT_MM = 90.0


@dataclass(frozen=True, slots=True)
class Entry:
    """The last part of a boat's way through the air, in its final direction."""

    at_s: float
    """When it floats, at rest, where it starts."""
    toward: tuple[float, float]
    """Unit vector from its place to where it comes from."""

    @property
    def from_s(self) -> float:
        """When it comes into sight."""
        return self.at_s - CARRIED_S

    def offset_mm(self, t_s: Floats) -> Floats:
        """(N, 3) how far from its starting place it is carried at times (N,); 0 once it floats."""
        left = np.clip((self.at_s - t_s) / CARRIED_S, 0.0, 1.0)
        aside = REACH_MM * left * left
        # it is lowered during the last third
        lift = LIFT_MM * np.clip(3 * left, 0.0, 1.0) ** 2 * (3 - 2 * np.clip(3 * left, 0.0, 1.0))
        return np.column_stack([aside * self.toward[0], aside * self.toward[1], lift])

    def in_sight(self, t_s: float) -> bool:
        """Whether it is there at all."""
        return t_s > self.from_s

    def afloat(self, t_s: float) -> bool:
        """Whether it lies on the water."""
        return t_s >= self.at_s
