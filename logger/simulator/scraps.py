"""Cargo that fell overboard and bits of paper: pieces with corners that drift and turn slowly on the water."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.simulator.basin import Basin
from logger.simulator.hull import Hull
from logger.simulator.tiers import Tier
from logger.simulator.visitors import Colour, Patch, adrift
from logger.simulator.voyage import Voyage

Floats = NDArray[np.float64]
PAPERS: tuple[Colour, ...] = ((228, 232, 234), (120, 214, 236), (196, 168, 232), (206, 190, 150))
BLOCKS: tuple[Colour, ...] = ((96, 142, 180), (60, 60, 200), (170, 110, 40), (60, 150, 70), (60, 60, 62))


@dataclass(frozen=True, slots=True, eq=False)
class Scrap:
    """One piece adrift."""

    outline_mm: Floats
    """(M, 2) about its own middle."""
    place_mm: Floats
    drift_mm_per_s: Floats
    turn_rad_per_s: float
    z_mm: float
    """Height of its upper face above the water."""
    colour: Colour
    above: bool = False

    def patches(self, t_s: float) -> list[Patch]:
        """The piece where it is at `t_s`."""
        c, s = np.cos(self.turn_rad_per_s * t_s), np.sin(self.turn_rad_per_s * t_s)
        turned = self.outline_mm @ np.array([[c, s], [-s, c]])
        return [Patch(turned + self.place_mm + t_s * self.drift_mm_per_s, self.z_mm, self.colour)]


def draw_scraps(
    rng: np.random.Generator, tier: Tier, *, basin: Basin, hull: Hull, voyage: Voyage
) -> tuple[Scrap, ...]:  # fmt: skip
    """Pieces that keep clear of the boat's way, as many as there is room for."""
    count = int(rng.integers(0, tier.scraps_count + 1))
    found = [_scrap(rng, basin, hull, voyage) for _ in range(count)]
    return tuple(scrap for scrap in found if scrap is not None)


def _scrap(rng: np.random.Generator, basin: Basin, hull: Hull, voyage: Voyage) -> Scrap | None:
    paper = bool(rng.random() < 0.5)
    size = rng.uniform(12, 45, 2) if paper else np.full(2, rng.uniform(12, 26)) * (1, rng.uniform(0.6, 1))
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * size / 2
    if paper:
        corners = corners + rng.uniform(-0.2, 0.2, (4, 2)) * size
    chosen = PAPERS if paper else BLOCKS
    colour = chosen[rng.integers(len(chosen))]
    reach = float(np.hypot(*hull.outline_mm.T).max() + np.hypot(*size) / 2) + 12.0
    turn, z = rng.uniform(-0.3, 0.3), 0.5 if paper else rng.uniform(5, 14)
    found = adrift(rng, basin, voyage, from_wall_mm=40, fastest_mm_per_s=5, clear_mm=reach)
    return None if found is None else Scrap(corners, *found, turn, z, colour)
