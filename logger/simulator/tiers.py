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
    jpeg_quality: int
    """As the encoder counts it, of 100."""
    frame_jitter_ns: int
    """Standard deviation of the time between frames."""
    dropped: float
    """Share of frames that never arrive."""
    burst_count: int
    """Most frames that are lost in a row."""
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
    chatter: float
    """Chance that rigging breaks a beam again after a boat with a sail has passed."""
    false_pulses_per_min: float
    """Breaks of a beam by nothing at all: a wave, a sunbeam, a sleeve."""
    speed_mm_per_s: Range
    """The speed that the thrust would reach in the end."""
    cut_late_s: Range
    """How late after the mark line the power really ends in a drift run."""
    creep_mm_per_s: Range
    """Speed at which a draught keeps a boat creeping."""
    flare: float
    """Largest excess of the deck over the waterline, as a fraction of the size."""
    wall_contact: float
    """Chance that a drifting boat is sent off fast enough to reach the end wall, if any boat could."""
    sail: float
    """Chance of a mast with a sail."""
    rock_deg: float
    """Largest swing of roll and pitch."""
    underwater: bool
    """Whether the hull is seen below the water too."""
    ripple: Range
    """Slope of the ripples, root mean square."""
    glint: float
    """Brightness of the lamp's reflection, where 1 saturates."""
    glint_width: float
    """Width of the lamp's reflection, as a slope of the water."""
    tag_shine: float
    """Brightness of lamps mirrored in the film over a tag, where 1 saturates."""
    light_drift: float
    """Largest slow change of the light, relative."""
    flicker: float
    """Largest swing of the light at twice the mains frequency, relative."""
    light_step: float
    """Chance of a sudden change of the exposure."""
    hand: float
    """Chance that a hand holds the boat until go."""
    straw: float
    """Chance that somebody blows through a straw and follows the boat."""
    rings_count: int
    """Most rings adrift."""
    sun: float
    """Chance that the light is the sun's: sharp, dark shadows."""
    passers: float
    """Chance that the shadow of somebody in the room walks over the tank."""
    blinds: float
    """Chance of swaying stripes of light from a window."""
    gust: float
    """How much a puff of the fan roughens the ripples, relative."""
    scraps_count: int
    """Most pieces of cargo or paper adrift."""
    bump: float
    """Chance that somebody knocks against the camera's stand."""


TIERS: dict[TierName, Tier] = {
    "easy": Tier(
        tilt_deg=2.0, line_ns=(5_000, 12_000), noise_dn=(1.0, 2.0), jpeg_quality=90, frame_jitter_ns=60_000,
        dropped=0.0, burst_count=0, u_delay_s=0.0003, u_line_mm=0.2, u_beam_mm=0.5, u_gate_distance_mm=0.7,
        stamp_jitter_ns=30_000, bounce=0.2, chatter=0.0, false_pulses_per_min=0.0,
        speed_mm_per_s=(120.0, 420.0), cut_late_s=(0.0, 0.0), creep_mm_per_s=(0.0, 0.0), flare=0.01, wall_contact=0.15,
        sail=0.0, rock_deg=0.0, underwater=False, ripple=(0.0, 0.0), glint=0.0, glint_width=0.0, tag_shine=0.0,
        light_drift=0.0, flicker=0.0, light_step=0.0, hand=0.0, straw=0.0, rings_count=0,
        sun=0.0, passers=0.0, blinds=0.0, gust=0.0, scraps_count=0, bump=0.0,
    ),
    "realistic": Tier(
        tilt_deg=6.0, line_ns=(15_000, 30_000), noise_dn=(2.0, 3.5), jpeg_quality=85, frame_jitter_ns=300_000,
        dropped=0.004, burst_count=1, u_delay_s=0.001, u_line_mm=0.5, u_beam_mm=1.0, u_gate_distance_mm=1.0,
        stamp_jitter_ns=50_000, bounce=0.5, chatter=0.6, false_pulses_per_min=0.5,
        speed_mm_per_s=(80.0, 700.0), cut_late_s=(0.0, 0.15), creep_mm_per_s=(0.0, 2.0), flare=0.03, wall_contact=0.25,
        sail=0.5, rock_deg=1.0, underwater=True, ripple=(0.004, 0.012), glint=0.7, glint_width=0.01, tag_shine=0.5,
        light_drift=0.06, flicker=0.02, light_step=0.0, hand=1.0, straw=0.0, rings_count=0,
        sun=0.3, passers=0.0, blinds=0.0, gust=0.0, scraps_count=0, bump=0.0,
    ),
    "hard": Tier(
        tilt_deg=8.0, line_ns=(20_000, 40_000), noise_dn=(3.0, 5.0), jpeg_quality=75, frame_jitter_ns=1_000_000,
        dropped=0.07, burst_count=8, u_delay_s=0.002, u_line_mm=1.0, u_beam_mm=1.5, u_gate_distance_mm=2.0,
        stamp_jitter_ns=100_000, bounce=0.8, chatter=0.9, false_pulses_per_min=3.0,
        speed_mm_per_s=(60.0, 1000.0), cut_late_s=(0.0, 0.3), creep_mm_per_s=(0.0, 5.0), flare=0.05, wall_contact=0.3,
        sail=0.6, rock_deg=2.5, underwater=True, ripple=(0.015, 0.04), glint=1.5, glint_width=0.015, tag_shine=1.0,
        light_drift=0.15, flicker=0.05, light_step=0.6, hand=1.0, straw=0.7, rings_count=4,
        sun=0.5, passers=0.5, blinds=0.3, gust=1.5, scraps_count=3, bump=0.5,
    ),
}  # fmt: skip
