"""How far the bow swung on the way, and how long the boat hardly moved."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from logger.results.motion import Motion

Floats = NDArray[np.float64]
_DIGITS = 9
"""A run that ends where the boat gets slower than the limit was not stuck for the last digits of a computer."""


def swing_deg(motion: Motion, from_s: float, until_s: float) -> float:
    """Greatest less least direction of the bow between two moments, seconds after the motion's first."""
    return float(np.degrees(np.ptp(motion.heading_at(_within(motion, from_s, until_s)))))


def u_swing_deg(motion: Motion, from_s: float, until_s: float) -> float:
    """Standard uncertainty of the two extreme directions together; they are far apart in time."""
    time = _within(motion, from_s, until_s)
    heading, u_heading = motion.heading_at(time), motion.u_heading_at(time)
    return float(np.degrees(np.hypot(u_heading[np.argmax(heading)], u_heading[np.argmin(heading)])))


def _within(motion: Motion, from_s: float, until_s: float) -> Floats:
    own = motion.time_s
    inner = own[(own > from_s) & (own < until_s)]
    moments: Floats = np.clip(np.concatenate([[from_s], inner, [until_s]]), own[0], own[-1])
    return moments


def slow_s(motion: Motion, from_s: float, until_s: float, *, below_mm_per_s: float) -> float:
    """How long between two moments the speed was below a limit; between pictures it runs straight."""
    own, speed = motion.time_s, motion.speed_mm_per_s
    inside = (own > from_s) & (own < until_s)
    time = np.clip(np.concatenate([[from_s], own[inside], [until_s]]), own[0], own[-1])
    at = np.interp(time, own, speed) - below_mm_per_s
    step, first, second = np.diff(time), at[:-1], at[1:]
    apart = np.where(first == second, 1.0, second - first)
    share = np.where(first < 0, np.where(second < 0, 1.0, -first / apart), np.where(second < 0, second / apart, 0.0))
    return round(float((step * np.clip(share, 0.0, 1.0)).sum()), _DIGITS)
