"""Which way a disc is headed: it shows none, so the way it travels is taken.

A boat that is blown or breathed upon goes a little sideways too, so even at full speed that is only nearly its bow's
direction. Where it hardly moves the last heading is held, and the longer it is held the wider it gets. A boat that
bounces off a wall goes backwards: the heading never jumps by more than a quarter turn from one picture to the next.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_WINDOW_S = 0.25
"""Half of the time over which speed is taken."""
_SLOW_MM_PER_S = 25.0
"""Slower than this a heading is held."""
_LEEWAY_RAD = np.radians(4.0)
"""Standard uncertainty of travel as heading (common practice, no source)."""
WIDENS_RAD_PER_S = np.radians(6.0)
"""How fast a heading that is held gets wider ..."""
_WIDEST_RAD = np.radians(40.0)
"""... and how wide at most."""


def headings_of_travel(t_ns: NDArray[np.int64], place_mm: Floats, covariance_mm2: Floats) -> tuple[Floats, Floats]:
    """(N,) headings, continuous, and (N,) their standard uncertainties, radians, of places (N, 2) in order of time."""
    t = (t_ns - t_ns[0]) / 1e9
    velocity, u_velocity = _velocities(t, place_mm, covariance_mm2)
    speed = np.hypot(*velocity.T)
    moving = np.flatnonzero((speed > _SLOW_MM_PER_S) & (speed > 5 * u_velocity))
    if not len(moving):
        return np.zeros(len(t)), np.full(len(t), np.pi)
    travel = np.arctan2(velocity[moving, 1], velocity[moving, 0])
    heading = _one_way(travel)
    held = np.interp(t, t[moving], heading)
    since = _since(t, t[moving])
    own = np.interp(t, t[moving], np.hypot(u_velocity[moving] / speed[moving], _LEEWAY_RAD))
    return held, np.minimum(np.hypot(own, WIDENS_RAD_PER_S * since), _WIDEST_RAD)


def _one_way(travel: Floats) -> Floats:
    """Headings without half turns: ahead at first; going back, not round, where travel turns about."""
    heading = np.empty(len(travel))
    heading[0] = travel[0]
    for n in range(1, len(travel)):
        turn = (travel[n] - heading[n - 1] + np.pi / 2) % np.pi - np.pi / 2
        heading[n] = heading[n - 1] + turn
    return heading


def _since(t: Floats, known: Floats) -> Floats:
    """(N,) seconds to the nearest of `known`, both in order."""
    after = np.clip(np.searchsorted(known, t), 0, len(known) - 1)
    before = np.maximum(after - 1, 0)
    found: Floats = np.minimum(np.abs(known[after] - t), np.abs(t - known[before]))
    return found


def _velocities(t: Floats, place: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """(N, 2) mm/s from straight lines through the neighbours in time, and (N,) their standard uncertainty."""
    first, last = np.searchsorted(t, t - _WINDOW_S), np.searchsorted(t, t + _WINDOW_S, side="right")
    velocity, u = np.zeros((len(t), 2)), np.full(len(t), np.inf)
    variance = np.trace(covariance, axis1=1, axis2=2) / 2
    for n in range(len(t)):
        near = slice(first[n], last[n])
        lever = t[near] - t[near].mean()
        spread = float((lever**2).sum())
        if last[n] - first[n] < 3 or spread <= 0:
            continue
        velocity[n] = lever @ place[near] / spread
        u[n] = np.sqrt(variance[near].mean() / spread)
    return velocity, u
