"""How far the bow swung on the way, and how long the boat hardly moved."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from logger.results.motion import Motion
from logger.vision.track import BRIDGED, Track

Floats = NDArray[np.float64]
_BRIEF_S = 0.1
_SEEN_SHARE = 0.2
_BLURRED_S = 0.2
"""The smoothed curve tells of a sudden stop by that much too early or too late."""
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
    return _below(motion.time_s, motion.speed_mm_per_s - below_mm_per_s, from_s, until_s)


def _below(own: Floats, excess: Floats, from_s: float, until_s: float) -> float:
    """How long `excess`, straight between the moments `own`, is below 0."""
    inside = (own > from_s) & (own < until_s)
    time = np.clip(np.concatenate([[from_s], own[inside], [until_s]]), own[0], own[-1])
    at = np.interp(time, own, excess)
    step, first, second = np.diff(time), at[:-1], at[1:]
    apart = np.where(first == second, 1.0, second - first)
    share = np.where(first < 0, np.where(second < 0, 1.0, -first / apart), np.where(second < 0, second / apart, 0.0))
    return round(float((step * np.clip(share, 0.0, 1.0)).sum()), _DIGITS)


def u_slow_s(motion: Motion, track: Track, from_s: float, until_s: float, *, below_mm_per_s: float) -> float:
    """What the smoothed curve makes of a boat that a wall stops at once; standard uncertainty, s.

    The fixes themselves tell otherwise, and where pictures are lost nobody saw when it stopped. It may be either, or
    anything between: GUM 4.3.7.
    """
    smoothed_s = slow_s(motion, from_s, until_s, below_mm_per_s=below_mm_per_s)
    if smoothed_s == 0:
        return 0.0
    own = np.flatnonzero(track.quality != BRIDGED)
    seen_s = _slow_by_fixes_s(motion, track, own, from_s, until_s, below_mm_per_s=below_mm_per_s)
    lost_s = _lost_s(motion, motion.time_s[own], from_s, until_s, below_mm_per_s)
    return float(np.hypot(seen_s - smoothed_s, lost_s)) / 3**0.5


def _slow_by_fixes_s(
    motion: Motion, track: Track, own: NDArray[np.int64], from_s: float, until_s: float, *, below_mm_per_s: float
) -> float:
    """From fix to fix at most `_BRIEF_S` before and after; longer where noise alone looks like a fifth of the limit."""
    noise_mm = float(np.sqrt(np.median(track.noise_mm2[own, 0, 0])))
    half_s = max(_BRIEF_S, noise_mm / (_SEEN_SHARE * 2**0.5 * below_mm_per_s))
    time, places = motion.time_s[own], np.column_stack([track.x_mm, track.y_mm])[own]
    before = np.searchsorted(time, time - half_s)
    after = np.minimum(np.searchsorted(time, time + half_s, side="right"), len(time)) - 1
    speed = np.hypot(*(places[after] - places[before]).T) / np.maximum(time[after] - time[before], _BRIEF_S / 2)
    return _below(time, speed - below_mm_per_s, from_s, until_s)


def _lost_s(motion: Motion, fixes_s: Floats, from_s: float, until_s: float, below_mm_per_s: float) -> float:
    """How long nobody looked when the boat got slower than the limit, or faster: root of the sum of squares."""
    slow = motion.speed_mm_per_s < below_mm_per_s
    turns = motion.time_s[:-1][np.diff(slow.astype(np.int8)) != 0]
    turns = turns[(turns > from_s) & (turns < until_s)]
    missed_s = np.maximum(np.diff(fixes_s) - float(np.median(np.diff(fixes_s))), 0.0)
    beside = (fixes_s[None, 1:] > turns[:, None] - _BLURRED_S) & (fixes_s[None, :-1] < turns[:, None] + _BLURRED_S)
    return float(np.linalg.norm((beside * missed_s).max(axis=1, initial=0.0)))
