"""What is not the boat: hands, straws, rings adrift. Each is a set of flat outlines at some height over the water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from logger.simulator.basin import Basin
from logger.simulator.entry import Entry
from logger.simulator.hull import Hull
from logger.simulator.tiers import Tier
from logger.simulator.voyage import Voyage

Floats = NDArray[np.float64]
Colour = tuple[int, int, int]
SKINS: tuple[Colour, ...] = ((150, 176, 222), (108, 140, 196), (70, 98, 150), (48, 66, 104), (36, 46, 74))
SLEEVES: tuple[Colour, ...] = (
    (160, 60, 50),
    (70, 70, 74),
    (60, 150, 200),
    (190, 190, 186),
    (70, 110, 60),
    (70, 50, 160),
)
STRAWS: tuple[Colour, ...] = ((230, 232, 232), (60, 60, 210), (70, 180, 90), (210, 150, 60))
RINGS: tuple[Colour, ...] = ((50, 120, 235), (60, 200, 235), (150, 80, 190), (230, 232, 232), (60, 60, 60))


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """One flat thing at one moment."""

    outline_mm: Floats
    """(M, 2) tank frame."""
    z_mm: float
    colour: Colour
    hole_mm: Floats | None = None
    """(M, 2) what is cut out of it."""


class Visitor(Protocol):
    """Anything that comes into the picture and is not the boat."""

    @property
    def above(self) -> bool:
        """True: over the boat. False: beside it on the water."""
        ...

    def patches(self, t_s: float) -> list[Patch]:
        """What is to be seen at `t_s`; empty when it is away."""
        ...


def capsule(a: Floats, b: Floats, ra: float, rb: float) -> Floats:
    """(M, 2) outline of a round-ended bar from `a` (radius `ra`) to `b` (radius `rb`)."""
    along = np.arctan2(b[1] - a[1], b[0] - a[0])
    back = along + np.linspace(np.pi / 2, 1.5 * np.pi, 9)
    front = along + np.linspace(-np.pi / 2, np.pi / 2, 9)
    return np.vstack(
        [
            a + ra * np.column_stack([np.cos(back), np.sin(back)]),
            b + rb * np.column_stack([np.cos(front), np.sin(front)]),
        ]
    )


def arm(grip: Floats, toward: Floats, *, size: float, z_mm: float, skin: Colour, sleeve: Colour) -> list[Patch]:
    """An arm that comes from the direction `toward` (unit vector, away from the grip) and ends in fingers at `grip`."""
    side = np.array([-toward[1], toward[0]])
    wrist, knuckles = grip + 150 * size * toward, grip + 65 * size * toward
    far, cuff = grip + 1500 * toward, grip + 230 * size * toward
    parts = [Patch(capsule(far, cuff, 62 * size, 46 * size), z_mm + 25, sleeve)]
    parts.append(Patch(capsule(cuff, wrist, 30 * size, 27 * size), z_mm + 12, skin))
    parts.append(Patch(capsule(wrist, knuckles, 33 * size, 40 * size), z_mm + 8, skin))
    for spread in (-0.75, -0.25, 0.25, 0.75):
        root = knuckles + 34 * size * spread * side
        tip = grip + 26 * size * spread * side + 12 * abs(spread) * size * toward
        parts.append(Patch(capsule(root, tip, 9.5 * size, 7.5 * size), z_mm, skin))
    return parts


@dataclass(frozen=True, slots=True, eq=False)
class Hand:
    """Holds the stern until go, then draws back over the side wall."""

    voyage: Voyage
    toward: Floats
    """(2,) unit vector from the grip to the arm."""
    grip_mm: Floats
    size: float
    """Of the hand, over a grown-up's."""
    z_mm: float
    haste_mm_per_s2: float
    skin: Colour
    sleeve: Colour
    entry: Entry | None = None
    """How it brings the boat, if it does."""
    above: bool = True

    def patches(self, t_s: float) -> list[Patch]:
        """The arm, from when it brings the boat until it is 900 mm away."""
        if self.entry is not None and not self.entry.in_sight(t_s):
            return []
        carried = np.zeros(3) if self.entry is None else self.entry.offset_mm(np.array([t_s]))[0]
        since = max(0.0, t_s - self.voyage.go_s)
        gone = 0.5 * self.haste_mm_per_s2 * since**2
        if gone > 900:
            return []
        grip, z_mm = self.grip_mm + gone * self.toward + carried[:2], self.z_mm + float(carried[2])
        return arm(grip, self.toward, size=self.size, z_mm=z_mm, skin=self.skin, sleeve=self.sleeve)


@dataclass(frozen=True, slots=True, eq=False)
class Blower:
    """Somebody who leans over the side wall and blows through a straw, a little behind the boat, while it is driven."""

    voyage: Voyage
    stern_mm: float
    """From the centroid back to the stern."""
    side: float
    behind_mm: float
    straw_mm: float
    z_mm: float
    until_s: float
    size: float
    """Of the hand, over a grown-up's."""
    skin: Colour
    sleeve: Colour
    straw: Colour
    above: bool = True

    def patches(self, t_s: float) -> list[Patch]:
        """Straw and arm, late behind the boat by a fifth of a second."""
        since = t_s - self.voyage.go_s
        if since < 0.1:
            return []
        pose = self.voyage.pose([min(t_s, self.until_s) - 0.2])[0]
        c, s = np.cos(pose[2]), np.sin(pose[2])
        forward, left = np.array([c, s]), np.array([-s, c])
        away = 0.5 * 1800 * max(0.0, t_s - self.until_s) ** 2
        if away > 900:
            return []
        weave = 12 * np.sin(5 * t_s) * left
        toward = -0.55 * forward + 0.83 * self.side * left
        toward = toward / np.hypot(*toward)
        tip = pose[:2] - (self.stern_mm + self.behind_mm) * forward + weave + away * toward
        end = tip + self.straw_mm * toward
        held = arm(end, toward, size=self.size, z_mm=self.z_mm + 40, skin=self.skin, sleeve=self.sleeve)
        return [Patch(capsule(tip, end, 3.0, 3.0), self.z_mm + 20, self.straw), *held]


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """A ring adrift."""

    place_mm: Floats
    drift_mm_per_s: Floats
    outer_mm: float
    inner_mm: float
    colour: Colour
    above: bool = False

    def patches(self, t_s: float) -> list[Patch]:
        """One ring, 4 mm over the water."""
        turn = np.linspace(0, 2 * np.pi, 49)[:-1]
        circle = np.column_stack([np.cos(turn), np.sin(turn)])
        middle = self.place_mm + t_s * self.drift_mm_per_s
        return [Patch(middle + self.outer_mm * circle, 4.0, self.colour, middle + self.inner_mm * circle)]


def draw_visitors(
    rng: np.random.Generator, tier: Tier, *, basin: Basin, hull: Hull, voyage: Voyage, driven_until_s: float,
    enters_s: float | None = None,
) -> tuple[Visitor, ...]:  # fmt: skip
    """Who and what comes by in this run; a hand in any case if it brings the boat at `enters_s`."""
    x, y, heading = voyage.pose([0.0])[0]
    side = float(rng.choice([-1.0, 1.0]))
    stern = -float(hull.outline_mm[:, 0].min())
    lean = rng.uniform(-0.9, -0.2)
    toward = np.array([lean, side]) / np.hypot(lean, 1.0)
    grip = np.array([x, y]) + (rng.uniform(14, 26) - stern) * np.array([np.cos(heading), np.sin(heading)])
    size, skin = rng.uniform(0.62, 0.9), SKINS[rng.integers(len(SKINS))]
    sleeve, straw = SLEEVES[rng.integers(len(SLEEVES))], STRAWS[rng.integers(len(STRAWS))]
    found: list[Visitor] = []
    rings = [_ring(rng, basin, hull, voyage) for _ in range(int(rng.integers(0, tier.rings_count + 1)))]
    found.extend(ring for ring in rings if ring is not None)
    hand = Hand(
        voyage, toward, grip, size, hull.freeboard_mm + rng.uniform(8, 20), rng.uniform(900, 2500), skin, sleeve,
        None if enters_s is None else Entry(enters_s, (float(toward[0]), float(toward[1]))),
    )  # fmt: skip
    if rng.random() < tier.hand or enters_s is not None:
        found.append(hand)
    blower = Blower(
        voyage, stern, side, rng.uniform(15, 70), rng.uniform(120, 190), hull.freeboard_mm + rng.uniform(10, 40),
        driven_until_s, size, skin, sleeve, straw,
    )  # fmt: skip
    if rng.random() < tier.straw:
        found.append(blower)
    return tuple(found)


def _ring(rng: np.random.Generator, basin: Basin, hull: Hull, voyage: Voyage) -> Ring | None:
    """A ring that keeps clear of the boat and of the walls, if there is room for one."""
    outer = rng.uniform(22, 42)
    inner = outer * rng.uniform(0.55, 0.75)
    colour = RINGS[rng.integers(len(RINGS))]
    clear = float(np.hypot(*hull.outline_mm.T).max()) + outer + 15
    found = adrift(rng, basin, voyage, from_wall_mm=60, fastest_mm_per_s=4, clear_mm=clear)
    return None if found is None else Ring(*found, outer, inner, colour)


def adrift(
    rng: np.random.Generator,
    basin: Basin,
    voyage: Voyage,
    *,
    from_wall_mm: float,
    fastest_mm_per_s: float,
    clear_mm: float,
) -> tuple[Floats, Floats] | None:
    """Place and drift (2,) of a thing that stays more than `clear_mm` from the boat's way for 20 s; None: no room."""
    way = voyage.path.at(np.linspace(0, basin.front_mm, 60))[:, :2]
    for _ in range(12):
        x_mm = rng.uniform(basin.back_mm + from_wall_mm, basin.front_mm - from_wall_mm)
        place = np.array([x_mm, rng.uniform(-1, 1) * (basin.half_width_mm - from_wall_mm)])
        drift = rng.uniform(-fastest_mm_per_s, fastest_mm_per_s, 2)
        if all(np.hypot(*(way - p).T).min() > clear_mm for p in (place, place + 20.0 * drift)):
            return place, drift
    return None
