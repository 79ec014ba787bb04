"""The invented class of the demo: a harbour club that does not exist, its boats, and how each run goes.

All of it is made up. The boat cards say what a ruler and a kitchen scale would have said of the simulated hulls.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from logger.config import Boat, Conditions

CLUB = "Lantern Quay harbour club"

TANK: Mapping[str, object] = {
    "tank_seed": 20,
    "tank_back_mm": 300.0,
    "tank_length_mm": 1500.0,
    "tank_width_mm": 620.0,
    "water_depth_mm": 90.0,
    "floor": "grey liner",
    "floor_pattern": "plain",
    "exposure_ns": 4_000_000,
    "line_ns": 8_000,
    "delay_ns": 1_500_000,
    "frame_rate_hz": 20.0,
}
"""One tank and one camera for all runs."""


@dataclass(frozen=True, slots=True)
class Hull:
    """One boat as the simulated tank floats it."""

    name: str
    paint: str
    shape: Literal["pointed", "tray", "round"]
    length_mm: float
    width_mm: float
    freeboard_mm: float
    mass_g: float

    @property
    def card(self) -> Boat:
        """What was measured on land, to the millimetre and the gram."""
        return Boat(
            name=self.name,
            team=f"Team {self.name}",
            length_mm=round(self.length_mm),
            width_mm=round(self.width_mm),
            freeboard_mm=round(self.freeboard_mm),
            mass_g=round(self.mass_g),
            colour=self.paint,
        )

    @property
    def wishes(self) -> Mapping[str, object]:
        """The hull, for the simulated tank."""
        return {
            "shape": self.shape,
            "paint": self.paint,
            "length_mm": self.length_mm,
            "width_mm": self.width_mm,
            "freeboard_mm": self.freeboard_mm,
            "mass_g": self.mass_g,
            "flare": 0.0,
        }


@dataclass(frozen=True, slots=True)
class Sail:
    """One run: who, what kind, how hard the fan blows."""

    boat: str
    kind: Literal["straight", "drift"]
    speed_mm_per_s: float
    """That the boat would reach in the end."""
    reaches_wall: bool = False


BOATS: Mapping[str, Hull] = {
    hull.name: hull
    for hull in (
        Hull("Teasel", "red", "pointed", 178.3, 62.4, 19.7, 64.2),
        Hull("Marrow", "green", "pointed", 205.2, 74.5, 23.6, 117.8),
        Hull("Thimble", "blue", "tray", 131.4, 77.8, 22.3, 70.6),
    )
}

_STRAIGHT_SPEEDS_MM_PER_S = {
    "Teasel": (345.0, 338.0, 351.0),
    "Marrow": (350.0, 331.0, 343.0),
    "Thimble": (205.0, 209.0, 202.0),
}
_STRAIGHT = tuple(
    Sail(boat, "straight", speeds[heat]) for heat in range(3) for boat, speeds in _STRAIGHT_SPEEDS_MM_PER_S.items()
)
_DRIFT = (
    Sail("Teasel", "drift", 240.0),
    Sail("Marrow", "drift", 620.0, reaches_wall=True),
    Sail("Thimble", "drift", 190.0),
)
SAILS = (*_STRAIGHT, *_DRIFT)
"""Three straight runs of each boat and then one drift run."""

CONDITIONS = Conditions(power="fan", fan_setting="2", fan_distance_mm=400.0, notes="simulated, nobody was there")
