"""How hard the simulated world is: three tiers, each a table of what may happen in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

TierName: TypeAlias = Literal["easy", "realistic", "hard"]
Range: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Tier:
    """Ranges to draw from (uniform) and sizes of effects; 0 switches an effect off."""

    tilt_deg: float
    """Largest tilt of the camera about either axis."""
    line_ns: Range
    """Row-to-row time of the rolling shutter."""
    noise_dn: Range
    """Standard deviation of the sensor's noise at mid grey, of 255."""
    frame_jitter_ns: int
    """Standard deviation of the time between frames."""
    dropped: float
    """Share of frames that never arrive."""
    u_delay_s: float
    """How well the rig file knows the camera's delay."""
    u_line_mm: float
    """How well the rig file knows where a line is."""
    u_beam_mm: float
    """How well the rig file knows where a beam is."""
    u_gate_distance_mm: float
    stamp_jitter_ns: int
    """Standard deviation of a gate's stamps."""
    bounce: float
    """Chance that an edge bounces."""
    flare: float
    """Largest excess of the deck over the waterline, as a fraction of the size."""
    wall_contact: float
    """Chance that a drifting boat is allowed to reach the end wall."""


TIERS: dict[TierName, Tier] = {
    "easy": Tier(
        tilt_deg=2.0, line_ns=(5_000, 12_000), noise_dn=(1.0, 2.0), frame_jitter_ns=60_000, dropped=0.0,
        u_delay_s=0.0003, u_line_mm=0.2, u_beam_mm=0.5, u_gate_distance_mm=0.7, stamp_jitter_ns=30_000, bounce=0.2,
        flare=0.01, wall_contact=0.15,
    ),
    "realistic": Tier(
        tilt_deg=6.0, line_ns=(15_000, 30_000), noise_dn=(2.0, 3.5), frame_jitter_ns=300_000, dropped=0.01,
        u_delay_s=0.001, u_line_mm=0.5, u_beam_mm=1.0, u_gate_distance_mm=1.0, stamp_jitter_ns=50_000, bounce=0.5,
        flare=0.03, wall_contact=0.25,
    ),
    "hard": Tier(
        tilt_deg=8.0, line_ns=(20_000, 40_000), noise_dn=(3.0, 5.0), frame_jitter_ns=1_000_000, dropped=0.07,
        u_delay_s=0.002, u_line_mm=1.0, u_beam_mm=1.5, u_gate_distance_mm=2.0, stamp_jitter_ns=100_000, bounce=0.8,
        flare=0.05, wall_contact=0.3,
    ),
}  # fmt: skip
