"""The tank: its walls and floor, the lines on it and the beams over it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.simulator.voyage import TrueLine
from logger.simulator.wishes import Wishes, wished

FLOORS: dict[str, tuple[int, int, int]] = {
    "grey liner": (168, 170, 168),
    "pale blue liner": (206, 184, 146),
    "white tray": (206, 212, 212),
    "sand tray": (150, 186, 204),
}


@dataclass(frozen=True, slots=True, eq=False)
class Basin:
    """The tank and its water. The waterline outline is a rectangle; x = 0 is the start line."""

    back_mm: float
    """x of the wall behind the start."""
    front_mm: float
    """x of the end wall."""
    half_width_mm: float
    depth_mm: float
    rim_mm: float
    """Height of the rim above the water."""
    floor_bgr: tuple[int, int, int]
    """Colour of the dry floor: blue, green, red of 255."""
    pattern: str

    @property
    def outline_mm(self) -> tuple[tuple[float, float], ...]:
        """Corners at the waterline, anticlockwise."""
        b, f, w = self.back_mm, self.front_mm, self.half_width_mm
        return ((b, -w), (f, -w), (f, w), (b, w))


def draw_basin(rng: np.random.Generator, boat_mm: float, boat_width_mm: float, asked: Wishes) -> Basin:
    """A tank in which a boat of that length and width has room."""
    least = max(800.0, 5.5 * boat_mm)
    length = wished(asked.tank_length_mm, rng.uniform(least, max(least, 3000.0)))
    width = wished(asked.tank_width_mm, float(np.clip(length * rng.uniform(0.3, 0.52), 2.6 * boat_width_mm, 1100)))
    back = -wished(asked.tank_back_mm, boat_mm + rng.uniform(50, 110))
    floors = list(FLOORS)
    floor = asked.floor or floors[rng.integers(len(floors))]
    pattern = asked.floor_pattern or str(rng.choice(["plain", "plain", "tiles", "grid"]))
    return Basin(
        back_mm=back, front_mm=back + length, half_width_mm=width / 2,
        depth_mm=wished(asked.water_depth_mm, rng.uniform(50, 150)), rim_mm=rng.uniform(25, 60),
        floor_bgr=FLOORS[floor], pattern=pattern,
    )  # fmt: skip


def draw_lines(rng: np.random.Generator, basin: Basin, kind: str) -> tuple[TrueLine, ...]:
    """The start line and the mark line of a drift run, or the finish line of a straight one; nearly square to x."""
    room = basin.front_mm
    mark, finish = room * rng.uniform(0.25, 0.36), room - rng.uniform(0.12, 0.2) * room
    skew = rng.uniform(-0.006, 0.006, 2)
    start = TrueLine("start", "start", 0.0)
    if kind == "drift":
        return (start, TrueLine("mark", "mark", mark, float(skew[0])))
    return (start, TrueLine("finish", "finish", finish, float(skew[1])))


def draw_beams(rng: np.random.Generator, lines: tuple[TrueLine, ...]) -> tuple[TrueLine, ...]:
    """A beam over each line, a few millimetres off it; `role` is the line's name."""
    return tuple(
        TrueLine(f"{line.name}-gate", line.name, line.place_mm + float(rng.uniform(-4, 4)), line.normal_rad)
        for line in lines
    )
