"""When the light was on, as the camera's own times see it, and how bright a place is without and with it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SEARCHED_S = (-0.2, 1.0)
"""Delays that are looked for."""
_KNOT_EVERY_S = 3.0
_FINEST = 2e-3  # of the step: eight-bit pictures, a few pixels averaged
_OUTLYING = 5.0  # in robust standard deviations
_LONG_S = 1e4  # a light is as it was long before the first switch and long after the last
_TO_SD = 1.4826  # median absolute deviation to standard deviation of a normal distribution


def searched_s(step_s: float) -> Floats:
    """The delays of SEARCHED_S, `step_s` apart."""
    return np.arange(SEARCHED_S[0], SEARCHED_S[1] + step_s / 2, step_s)


@dataclass(frozen=True, slots=True, eq=False)
class Switches:
    """M moments at which the light was switched; arrays (M,), in order of time."""

    before_ns: NDArray[np.int64]
    after_ns: NDArray[np.int64]
    """It happened between the two."""
    on: NDArray[np.bool_]
    """Which way it was switched."""

    def turns(self) -> Switches:
        """Only those that changed something; before the first, the light was the other way."""
        changes = np.append(True, self.on[1:] != self.on[:-1]) if len(self.on) else np.zeros(0, bool)
        return Switches(self.before_ns[changes], self.after_ns[changes], self.on[changes])


class Pattern:
    """The light's on and off on the camera's time, in seconds after one moment: a float64 holds them to below 1 ns."""

    def __init__(self, turns: Switches, claimed_ns: NDArray[np.int64]) -> None:
        """Place them on one axis.

        Args:
            turns: (M,) switches of which each changed something.
            claimed_ns: (N,) mid-exposures as claimed, rising.
        """
        origin_ns = int(claimed_ns[0]) if len(claimed_ns) else 0
        self.switch_s: Floats = ((turns.before_ns - origin_ns) + (turns.after_ns - origin_ns)) / 2e9
        self.on = turns.on
        self.claimed_s: Floats = (claimed_ns - origin_ns) / 1e9
        gaps = np.diff(self.claimed_s)
        self.period_s = float(np.median(gaps)) if len(gaps) else 0.0
        self.scatter_s = _scatter_s(gaps, self.period_s) if self.period_s > 0 else 0.0
        first, last = self.switch_s.min(initial=0.0), self.switch_s.max(initial=0.0)
        self._edges_s: Floats = np.concatenate([[first - _LONG_S], self.switch_s, [last + _LONG_S]])
        state = np.append([not turns.on[0]], turns.on) if len(turns.on) else np.zeros(1, bool)
        self._lit_s: Floats = np.append(0.0, np.cumsum(np.diff(self._edges_s) * state))

    def lit(self, middle_s: Floats, width_s: Floats | float) -> Floats:
        """Part of the window of `width_s` around `middle_s` during which the light was on."""
        upper = np.interp(middle_s + np.asarray(width_s) / 2, self._edges_s, self._lit_s)
        lower = np.interp(middle_s - np.asarray(width_s) / 2, self._edges_s, self._lit_s)
        return np.asarray((upper - lower) / width_s, np.float64)

    def nearest(self, middle_s: Floats) -> NDArray[np.intp]:
        """Index of the switch nearest to each of `middle_s`."""
        between = (self.switch_s[1:] + self.switch_s[:-1]) / 2
        return np.searchsorted(between, middle_s)

    def correlation(self, brightness: Floats, *, width_s: Floats | float, delays_s: Floats) -> tuple[Floats, Floats]:
        """How well each delay explains each brightness, slow drift left out of both.

        Args:
            brightness: (N, P), P places of the picture.
            width_s: window of each picture, above 0.
            delays_s: (D,), such as `searched_s` gives.

        Returns:
            The correlation (D, P); the step of the light in the brightness (D, P).
        """
        basis, _ = np.linalg.qr(hats(self.claimed_s))
        pattern = self.lit(self.claimed_s - delays_s[:, None], width_s)
        pattern = pattern - (pattern @ basis) @ basis.T
        rest = brightness - basis @ (basis.T @ brightness)
        strength = np.maximum(np.linalg.norm(pattern, axis=1), 1e-9)[:, None]
        along = pattern @ rest / strength
        return along / np.maximum(np.linalg.norm(rest, axis=0), 1e-6), along / strength


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Brightness as a part of the light's step."""

    lit: Floats
    """(N,) 0 as without the light, 1 as with it."""
    step: float
    """Of the light, in the unit of the brightness."""
    noise: tuple[float, float]
    """Standard deviation of `lit` without and with the light."""


def _scatter_s(gaps_s: Floats, period_s: float) -> float:
    """Standard deviation of one stamp about an even pace, dropped ones or not; the difference of two has √2 of it."""
    counts = np.maximum(np.rint(gaps_s / period_s), 1)
    rest = gaps_s - counts * float(gaps_s.sum() / counts.sum())
    return _TO_SD * float(np.median(np.abs(rest))) / math.sqrt(2)


def hats(t_s: Floats) -> Floats:
    """(N, K) straight pieces between knots every 3 s, for what drifts slowly over the times `t_s` (N,)."""
    span = float(t_s[-1] - t_s[0])
    knots = np.linspace(t_s[0], t_s[-1], max(2, round(span / _KNOT_EVERY_S) + 1))
    return np.stack([np.interp(t_s, knots, row) for row in np.eye(len(knots))], axis=1)


def levels(t_s: Floats, brightness: Floats, *, lit: NDArray[np.bool_], use: NDArray[np.bool_]) -> Levels:
    """The levels from the pictures where `use` is true, which lie away from any switch.

    Args:
        t_s: (N,) times.
        brightness: (N,) any unit.
        lit: (N,) whether the light was on.
        use: (N,) which to fit; those far from the fit are left out of it.
    """
    steady = hats(t_s)
    along = (t_s - t_s.mean()) / max(float(np.ptp(t_s)), 1e-9)
    design = np.column_stack([steady, lit, lit * along])
    kept = use.copy()
    for _ in range(3):
        found = np.linalg.lstsq(design[kept], brightness[kept], rcond=None)[0]
        rest = brightness - design @ found
        sd = _TO_SD * float(np.median(np.abs(rest[kept])))
        kept = use & (np.abs(rest) <= max(_OUTLYING * sd, 1e-9))
    step = found[-2] + found[-1] * along
    dark = steady @ found[:-2]
    typical = float(np.mean(step))
    scale = abs(typical) or 1.0
    off, on = (float(np.sqrt(np.mean(rest[kept & state] ** 2))) / scale for state in (~lit, lit))
    safe = np.where(np.abs(step) > 1e-3 * scale, step, math.copysign(1e-3 * scale, typical))
    return Levels((brightness - dark) / safe, typical, (max(off, _FINEST), max(on, _FINEST)))
