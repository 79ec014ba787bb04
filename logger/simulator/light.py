"""The light: where the lamp stands, how even it is, and how it changes during a run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.simulator.wishes import Wishes, wished


@dataclass(frozen=True, slots=True)
class Light:
    """Where the lamp stands and how even it is."""

    from_rad: float
    """Direction from which the light comes, seen from above."""
    slant: float
    """Tangent of its angle from the vertical, in air."""
    gradient: tuple[float, float]
    """Relative change of the light per half picture, along the columns and rows."""
    vignette: float
    """Loss of light in the picture's corner."""
    shade: float
    """Darkness of a boat's shadow."""


def draw_light(rng: np.random.Generator, asked: Wishes) -> Light:
    """One lamp on one side, not quite even."""
    return Light(
        from_rad=rng.uniform(0, 2 * np.pi), slant=rng.uniform(0.15, 0.6),
        gradient=tuple(rng.uniform(-0.1, 0.1, 2)), vignette=rng.uniform(0.05, 0.25),
        shade=wished(asked.shade, rng.uniform(0.12, 0.35)),
    )  # fmt: skip
