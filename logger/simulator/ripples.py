"""Waves on the water: what they do to the floor below, to the lamp's light on it, and to the lamp's mirror image.

Small slopes. A view straight down through a surface of slope s meets the floor d·(1 − 1/n)·s aside (Snell), and light
from above is gathered there in proportion to 1/(1 + d·(1 − 1/n)·div s). Waves obey ω² = (g·k + (σ/ρ)·k³)·tanh(k·d)
(gravity and surface tension; Lamb, Hydrodynamics, art. 267).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.simulator.snell import INDEX
from logger.simulator.tiers import Tier

Floats = NDArray[np.float64]
GRAVITY_MM_PER_S2 = 9806.65
TENSION_MM3_PER_S2 = 7.29e4
"""Surface tension over density of water at 20 °C: 72.8 mN/m over 998 kg/m³ (IAPWS R1-76)."""
BENDING = 1.0 - 1.0 / INDEX
SLOWEST_WAKE_MM_PER_S = 231.0
"""Least phase speed of waves on water: a slower boat makes none that stay with it."""


def angular_frequency(wavenumber_per_mm: Floats, *, depth_mm: float) -> Floats:
    """ω in rad/s of waves of that wavenumber in rad/mm."""
    k = np.asarray(wavenumber_per_mm, np.float64)
    omega: Floats = np.sqrt((GRAVITY_MM_PER_S2 * k + TENSION_MM3_PER_S2 * k**3) * np.tanh(k * depth_mm))
    return omega


@dataclass(frozen=True, slots=True, eq=False)
class Waves:
    """Plane waves that run across the tank; none is allowed."""

    vector_per_mm: Floats
    """(N, 2) wave vectors."""
    slope: Floats
    """(N,) largest slope of each."""
    rate_rad_per_s: Floats
    phase_rad: Floats
    wake: float
    """Slope of the boat's own waves at 300 mm/s."""
    lamp_mm: Floats
    """(3,) where the lamp hangs, tank frame."""
    glint: float
    """Brightness of the lamp's mirror image; 1 saturates."""
    glint_width: float
    """Standard deviation of the slopes that mirror the lamp into the camera."""

    @property
    def still(self) -> bool:
        """Whether nothing moves."""
        return len(self.slope) == 0 and self.wake == 0.0


def draw_waves(
    rng: np.random.Generator, tier: Tier, *, depth_mm: float, middle_mm: tuple[float, float]
) -> Waves:  # fmt: skip
    """Ripples mostly along the run, as a fan makes them, and their echoes from the walls."""
    count = 14
    steepness = rng.uniform(*tier.ripple)
    wavelength = np.exp(rng.uniform(np.log(35), np.log(260), count))
    along = rng.normal(0, 0.5, count) + np.where(rng.random(count) < 0.35, np.pi, 0.0)
    k = 2 * np.pi / wavelength
    lamp = np.array(
        [middle_mm[0] + rng.uniform(-900, 900), middle_mm[1] + rng.uniform(-700, 700), rng.uniform(1600, 2600)]
    )
    share = rng.uniform(0.5, 1.0, count)
    share *= np.sqrt(2.0 / (share**2).sum())
    phase = rng.uniform(0, 2 * np.pi, count)
    if steepness == 0.0:
        none = np.zeros(0)
        return Waves(np.zeros((0, 2)), none, none, none, 0.0, lamp, 0.0, 1.0)
    return Waves(
        np.column_stack([k * np.cos(along), k * np.sin(along)]), steepness * share,
        angular_frequency(k, depth_mm=depth_mm), phase, 0.03 + steepness, lamp, tier.glint, tier.glint_width,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """The water at one moment, at the points (M,) of a grid."""

    slope: Floats
    """(M, 2) gradient of its height."""
    bend_per_mm: Floats
    """(M,) divergence of the slope."""


class WaterGrid:
    """The waves at fixed points of the water: everything that does not change with time is worked out once."""

    def __init__(self, waves: Waves, points_mm: Floats) -> None:
        """Prepare for `points_mm` (M, 2)."""
        self._waves, self._points = waves, points_mm
        angle = points_mm @ waves.vector_per_mm.T + waves.phase_rad
        self._cos, self._sin = np.cos(angle).astype(np.float32), np.sin(angle).astype(np.float32)

    def at(self, t_s: float, boat: tuple[Floats, float, float] | None = None) -> Surface:
        """The surface at `t_s`; `boat` = pose (x, y, heading), speed and length adds its wake."""
        w = self._waves
        k = np.hypot(*w.vector_per_mm.T)
        unit = w.vector_per_mm / np.maximum(k, 1e-12)[:, None]
        c, s = np.cos(w.rate_rad_per_s * t_s), np.sin(w.rate_rad_per_s * t_s)
        # cos(a − b) and sin(a − b) from the stored cosines and sines of a
        push = np.column_stack([w.slope[:, None] * unit, np.zeros_like(k)])
        bend = -(w.slope * k)
        on_cos = push * c[:, None] - np.column_stack([0 * unit, bend * s])
        on_sin = push * s[:, None] + np.column_stack([0 * unit, bend * c])
        field = self._cos @ on_cos.astype(np.float32) + self._sin @ on_sin.astype(np.float32)
        field = np.asarray(field, np.float64)
        if boat is not None:
            field = field + self._wake(*boat)
        return Surface(field[:, :2], field[:, 2])

    def _wake(self, pose: Floats, speed: float, length_mm: float) -> Floats:
        """(M, 3) slope and its divergence of the two arms of waves that a boat draws behind its bow."""
        strength = (
            self._waves.wake * min((speed / 300.0) ** 2, 3.0) * np.clip((speed - SLOWEST_WAKE_MM_PER_S) / 60, 0, 1)
        )
        if strength <= 1e-5:
            return np.zeros((1, 3))
        c, s = np.cos(pose[2]), np.sin(pose[2])
        off = self._points - pose[:2]
        behind = length_mm / 2 - (c * off[:, 0] + s * off[:, 1])
        aside = -s * off[:, 0] + c * off[:, 1]
        # Kelvin's wedge: arms at asin(1/3) to the track, waves whose phase speed is the boat's share along them
        wedge = np.tan(np.arcsin(1.0 / 3.0))
        k = GRAVITY_MM_PER_S2 / speed**2 * 1.5
        total = np.zeros((len(off), 3))
        for side in (-1.0, 1.0):
            across = side * aside - wedge * behind
            envelope = np.exp(-((across / (0.35 * length_mm)) ** 2) - behind / (3 * length_mm)) * (behind > 0)
            way = (0.82, 0.57 * side)
            angle = k * (way[0] * behind + way[1] * aside)
            push = strength * envelope * np.cos(angle)
            total[:, 0] += push * (-way[0] * c - way[1] * s)
            total[:, 1] += push * (-way[0] * s + way[1] * c)
            total[:, 2] -= strength * k * envelope * np.sin(angle)
        return total

    def mirror_slope(self, eye_mm: Floats) -> Floats:
        """(M, 2) the slope that would mirror the lamp into the camera: the surface normal halves the two directions."""
        here = np.column_stack([self._points, np.zeros(len(self._points))])
        to_eye, to_lamp = eye_mm - here, self._waves.lamp_mm - here
        half = to_eye / np.linalg.norm(to_eye, axis=1)[:, None] + to_lamp / np.linalg.norm(to_lamp, axis=1)[:, None]
        slope: Floats = -half[:, :2] / half[:, 2:]
        return slope
