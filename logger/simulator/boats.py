"""The boats that children bring: shapes, sizes, paints."""

from __future__ import annotations

import numpy as np

from logger.simulator.hull import Hull, Shape, outline
from logger.simulator.tiers import Tier
from logger.simulator.wishes import Wishes, wished

PAINTS: dict[str, tuple[int, int, int]] = {
    "red": (40, 35, 185),
    "yellow": (35, 190, 215),
    "green": (60, 140, 45),
    "blue": (165, 80, 30),
    "black": (38, 36, 36),
    "white": (228, 232, 232),
    "foil": (172, 174, 174),
}
"""Colours of boats, blue, green, red of 255."""


def draw_boat(rng: np.random.Generator, tier: Tier, asked: Wishes) -> tuple[Hull, str, float]:
    """A hull, the name of its paint, and its mass in grams: about what its draught displaces."""
    drawn_shape = str(rng.choice(["pointed", "pointed", "pointed", "tray", "round"]))
    shape: Shape = asked.shape or drawn_shape  # type: ignore[assignment]
    length = wished(asked.length_mm, rng.uniform(90, 330))
    ratio = {"pointed": (2.0, 3.6), "tray": (1.3, 2.4), "round": (1.0, 1.15)}[shape]
    width = wished(asked.width_mm, float(np.clip(length / rng.uniform(*ratio), 60, 200)))
    length = max(length, width) if shape != "round" or asked.length_mm else width * rng.uniform(1.0, 1.1)
    shape_of = outline(
        shape, length_mm=length, width_mm=width, stern=rng.uniform(0.7, 0.95), fullness=rng.uniform(1.6, 2.4)
    )
    freeboard = wished(asked.freeboard_mm, float(np.clip(rng.uniform(8, 40), 0, 0.35 * width)))
    draught = rng.uniform(4, 15)
    flare = wished(asked.flare, rng.uniform(0, tier.flare))
    drawn_paint = str(rng.choice(list(PAINTS)))
    displaced = 0.75 * length * width * draught / 1000 * rng.uniform(0.8, 1.1)
    mass = wished(asked.mass_g, float(np.clip(displaced, 8, 480)))
    return Hull(shape_of, 1.0 + flare, freeboard, draught), asked.paint or drawn_paint, mass
