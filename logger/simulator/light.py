"""The light: where the lamp stands, how even it is, and how it changes during a run."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.simulator.tiers import Tier
from logger.simulator.wishes import Wishes, wished

Floats = NDArray[np.float64]


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
    spread: float = 1.0
    """How wide the lamp is: 1 a large one with soft shadows, near 0 the sun, whose shadows are sharp."""


@dataclass(frozen=True, slots=True)
class LightChange:
    """How the light changes with time, relative to its beginning."""

    swings: tuple[tuple[float, float, float], ...]
    """(relative size, rate in rad/s, phase in rad) of slow changes."""
    tilting: tuple[float, float, float]
    """(relative change at the picture's edge, rate in rad/s, phase in rad) of a lamp that sways along the columns."""
    flicker: float
    """Relative size of the swing at twice the mains frequency."""
    mains_hz: float
    flicker_phase_rad: float
    step: float
    """Relative change when the exposure is set anew; 0: it never is."""
    step_s: float

    @property
    def steady(self) -> bool:
        """Whether nothing changes."""
        return not (self.swings or self.flicker or self.step)

    def rows(self, middles_s: Floats, *, exposure_s: float) -> Floats:
        """(N,) relative light of picture rows whose exposure is centred on `middles_s` (N,)."""
        gain = np.ones_like(middles_s)
        for size, rate, phase in self.swings:
            gain += size * (np.sin(rate * middles_s + phase) - np.sin(phase))
        # light at twice the mains frequency, averaged over the exposure
        rate = 2 * np.pi * 2 * self.mains_hz
        gain += (
            self.flicker * np.sinc(rate * exposure_s / (2 * np.pi)) * np.sin(rate * middles_s + self.flicker_phase_rad)
        )
        stepped: Floats = gain * (1.0 + self.step * -np.expm1(-np.clip(middles_s - self.step_s, 0, None) / 0.12))
        return stepped

    def columns(self, places: Floats, t_s: float) -> Floats:
        """(N,) relative light at `places` (N,), -1 at the left edge and 1 at the right."""
        size, rate, phase = self.tilting
        return np.asarray(1.0 + size * np.sin(rate * t_s + phase) * places, np.float64)


def draw_light(rng: np.random.Generator, asked: Wishes) -> Light:
    """One lamp on one side, not quite even."""
    return Light(
        from_rad=rng.uniform(0, 2 * np.pi), slant=rng.uniform(0.15, 0.6),
        gradient=tuple(rng.uniform(-0.1, 0.1, 2)), vignette=rng.uniform(0.05, 0.25),
        shade=wished(asked.shade, rng.uniform(0.12, 0.35)),
    )  # fmt: skip


def draw_sun(rng: np.random.Generator, tier: Tier, lamp: Light, asked: Wishes) -> Light:
    """The same room with the sun in it, or the lamp as it is. The sun's shadows are sharper, darker, often longer."""
    slant, shade, spread = rng.uniform(0.2, 1.0), rng.uniform(0.35, 0.6), rng.uniform(0.05, 0.2)
    drawn = bool(rng.random() < tier.sun)
    if not (drawn if asked.sun is None else asked.sun):
        return lamp
    return replace(lamp, slant=slant, shade=wished(asked.shade, shade), spread=spread)


def draw_change(rng: np.random.Generator, tier: Tier, *, from_s: float, to_s: float) -> LightChange:
    """Clouds, a swaying lamp, mains, and perhaps an automatic exposure that wakes up between the two times."""
    drift = tier.light_drift
    swings = tuple((drift * rng.uniform(0.2, 0.5), rng.uniform(0.2, 1.5), rng.uniform(0, 6.28)) for _ in range(2))
    tilting = (drift * rng.uniform(0.1, 0.5), rng.uniform(0.2, 1.5), rng.uniform(0, 6.28))
    flicker = tier.flicker * rng.uniform(0.3, 1.0)
    mains, phase = float(rng.choice([50.0, 60.0])), rng.uniform(0, 6.28)
    step = float(rng.choice([-1, 1])) * rng.uniform(0.1, 0.22) * (rng.random() < tier.light_step)
    moment = rng.uniform(from_s, to_s)
    return LightChange(swings if drift else (), tilting, flicker, mains, phase, step, moment)
