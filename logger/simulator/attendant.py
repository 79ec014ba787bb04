"""Beams across a tub, and an invented person at them who passes straws through and makes ripples when asked to.

A beam is a round bundle of light. What stands in it takes away the part of the bundle that it covers; some light comes
to the receiver by other ways (water, walls), now more and now less, because the water rocks. The receiver says
"broken" when less than its threshold arrives. A beam of too little light is broken by drops and shadows or never
clears; one of too much is seen by those other ways while a straw stands in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.records import Edge
from logger.simulator.chance import stream

Floats = NDArray[np.float64]
_STEP_S, _RIPPLE_STEP_S = 0.0005, 0.004
_HALF_PASS_S = 0.25
_WAVES = ((1.7, 1.0), (2.6, 0.6), (3.9, 0.35))
"""Frequency in hertz and share of the height of the waves of a tub that somebody rocks (invented)."""


@dataclass(frozen=True, slots=True)
class Tub:
    """What the beams are like, and the person."""

    gates: tuple[str, ...]
    seed: int = 1
    """Same seed, same passes and crests."""
    straw_mm: float = 6.0
    beam_mm: float = 4.0
    """Diameter of the bundle, as the hoods leave it."""
    light_ratio: tuple[float, ...] = ()
    """Light that arrives over the threshold, for each gate; 5 for those that are not named."""
    stray_share: float = 0.05
    """Of a gate's light that comes by other ways while something stands in the beam, on average."""
    above_water_mm: float = 40.0
    """Middle of the beams."""
    ripples_mm: float = 6.0
    """Height of the waves' crests above still water."""
    speed_mm_per_s: float = 250.0
    """Of a straw that is passed through."""

    def ratio(self, gate: str) -> float:
        """Light that arrives at the receiver of `gate`, over its threshold."""
        place = self.gates.index(gate)
        return self.light_ratio[place] if place < len(self.light_ratio) else 5.0


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person was asked to do."""

    gate: str
    """The gate for straws; empty: ripples."""
    from_ns: int
    every_ns: int
    times_count: int


def edges(tub: Tub, asked: Asked, *, source: str) -> list[Edge]:
    """Every edge of every beam that comes of it, in order of time."""
    if asked.gate:
        passes = (_pass(tub, asked, number) for number in range(asked.times_count))
        found = [edge for one in passes for edge in one]
    else:
        found = _ripples(tub, asked)
    return [Edge(t_ns, gate, blocked, source) for t_ns, gate, blocked in sorted(found)]


def covered_share(off_mm: Floats, *, straw_mm: float, beam_mm: float) -> Floats:
    """How much of a round bundle a straw covers whose middle is `off_mm` beside the bundle's."""
    radius = beam_mm / 2
    return _share_below(off_mm + straw_mm / 2, radius) - _share_below(off_mm - straw_mm / 2, radius)


def _share_below(edge_mm: Floats, radius_mm: float) -> Floats:
    """How much of a disc lies on one side of a straight edge so far from its middle."""
    x = np.clip(edge_mm / radius_mm, -1, 1)
    return np.asarray(0.5 + (x * np.sqrt(1 - x**2) + np.arcsin(x)) / math.pi, np.float64)


def _pass(tub: Tub, asked: Asked, number: int) -> Iterator[tuple[int, str, bool]]:
    """One straw, pulled through on call: half a second to a second after it, somewhat quicker or slower."""
    chance = stream(tub.seed, f"straw {asked.gate} {asked.from_ns} {number}")
    middle_s = (asked.every_ns / 1e9) * float(chance.uniform(0.25, 0.5))
    speed = tub.speed_mm_per_s * float(chance.uniform(0.7, 1.4))
    stray = tub.stray_share * float(chance.uniform(0.2, 1.8))
    since_s = np.arange(-_HALF_PASS_S, _HALF_PASS_S, _STEP_S)
    free = 1 - covered_share(speed * since_s, straw_mm=tub.straw_mm, beam_mm=tub.beam_mm)
    call_ns = asked.from_ns + number * asked.every_ns + round(middle_s * 1e9)
    yield from _told(tub, asked.gate, call_ns, since_s, free + (1 - free) * stray)


def _ripples(tub: Tub, asked: Asked) -> list[tuple[int, str, bool]]:
    """Crests below each beam for the whole time; water is as opaque to a flat beam as a straw."""
    length_s = asked.every_ns * asked.times_count / 1e9
    since_s = np.arange(0, length_s, _RIPPLE_STEP_S)
    found: list[tuple[int, str, bool]] = []
    for gate in tub.gates:
        chance = stream(tub.seed, f"ripples {gate}")
        waves = sum(share * np.sin(2 * math.pi * (hertz * since_s + chance.uniform())) for hertz, share in _WAVES)
        level_mm = tub.ripples_mm * np.asarray(waves, np.float64) / sum(share for _, share in _WAVES)
        covered = _share_below(level_mm - tub.above_water_mm, tub.beam_mm / 2)
        found += _told(tub, gate, asked.from_ns, since_s, 1 - covered * (1 - tub.stray_share))
    return found


def _told(tub: Tub, gate: str, zero_ns: int, since_s: Floats, light_share: Floats) -> Iterator[tuple[int, str, bool]]:
    """Edges where the light falls below the threshold and where it comes back; the beam is clear at the end.

    A beam of too little light is broken all the time and says nothing.
    """
    ratio = tub.ratio(gate)
    if ratio <= 1:
        return  # it never was clear, so that nothing changes
    broken = ratio * light_share < 1.0
    broken[-1] = False
    turns = np.flatnonzero(np.diff(np.concatenate([[False], broken]).astype(np.int8)))
    for turn in turns.tolist():
        yield zero_ns + round(float(since_s[turn]) * 1e9), gate, bool(broken[turn])


def dark_at_first(tub: Tub, *, t_ns: int, source: str) -> list[Edge]:
    """One edge for each beam that is broken as the gates are opened, as real ones tell it."""
    return [Edge(t_ns, gate, True, source) for gate in tub.gates if tub.ratio(gate) <= 1]


def walk_through(tub: Tub, *, from_ns: int, source: str) -> list[Edge]:
    """The person goes along the tub and passes a hand through each beam in its order, one a second."""
    found = []
    for number, gate in enumerate(tub.gates):
        at_ns = from_ns + (number + 1) * 1_000_000_000
        found += [Edge(at_ns, gate, True, source), Edge(at_ns + 400_000_000, gate, False, source)]
    return found
