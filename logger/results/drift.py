"""Where a coast ended and why, and how far it went past the mark line.

The rule (config.Rules, agreed before the run): the boat is at rest from the moment from which it stays slower than the
stop speed for the stop time. The coast ends there, or earlier when the bow touches a wall or the time is up. At a wall
or at the end of the time the boat would have gone on, so the drift is "at least" that much.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.config import Rules, Tank
from logger.results import bow
from logger.results.lines import Ahead
from logger.results.motion import Motion
from logger.results.polygon import inside_mm
from logger.results.trial import EndReason

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class End:
    """The end of a coast."""

    time_s: float
    """Seconds after the motion's first moment."""
    reason: EndReason

    @property
    def at_least(self) -> bool:
        """Whether the boat would have gone farther."""
        return self.reason != "at_rest"


@dataclass(frozen=True, slots=True)
class Coast:
    """What must be known to find the end of a coast."""

    line: Ahead
    tank: Tank
    rules: Rules
    until_s: float
    """When the time is up or somebody stopped the run, seconds after the motion's first moment; inf: never."""
    until_reason: EndReason = "time_cap"

    def bow_for(self, motion: Motion) -> Bow:
        """The bow's reach along a motion's headings, once for all its drawn and shifted copies."""
        forward, _, foremost = bow.reach(motion.outline_mm, motion.heading_rad, self.line.normal)
        return Bow(forward, foremost)


@dataclass(frozen=True, slots=True, eq=False)
class Bow:
    """Where the bow is, seen from the centroid, at each moment of a motion."""

    forward_mm: Floats
    """(N,) along the line's normal."""
    foremost_mm: Floats
    """(N, 2) tank frame."""

    def farther(self, by_mm: float) -> Bow:
        """The bow of a hull whose outline reaches farther by so much."""
        far = np.maximum(np.hypot(*self.foremost_mm.T), 1e-9)
        return Bow(self.forward_mm + by_mm, self.foremost_mm * (1 + by_mm / far)[:, None])


def end(motion: Motion, coast: Coast, ahead: Bow, *, from_s: float) -> End:
    """The first of rest, wall, and the end of the time, after `from_s`; else the end of the motion."""
    own = motion.time_s
    last = float(own[-1])
    found = [End(min(coast.until_s, last), coast.until_reason if coast.until_s <= last else "recording_ended")]
    if (rest := _rest_s(own, motion.speed_mm_per_s, coast.rules, from_s)) is not None:
        found.append(End(rest, "at_rest"))
    if (wall := _wall_s(motion, coast, ahead, from_s)) is not None:
        found.append(End(wall, "wall"))
    return min(found, key=lambda e: e.time_s)


def past_mm(motion: Motion, coast: Coast, ahead: Bow, at_s: float) -> float:
    """How far past the line the bow was at a moment, such as the end of the coast."""
    own = motion.time_s
    right = int(np.clip(np.searchsorted(own, at_s, side="right"), 1, len(own) - 1))
    near = slice(right - 1, right + 1)
    past = coast.line.past_mm(motion.place_mm[near]) + ahead.forward_mm[near]
    return float(np.interp(at_s, own[near], past))


def _rest_s(own: Floats, speed: Floats, rules: Rules, from_s: float) -> float | None:
    """The moment from which the speed stays below the stop speed for the stop time; None if it does not."""
    limit = rules.stop_speed_mm_per_s
    slow = speed < limit
    begins = np.flatnonzero(slow & ~np.concatenate([[False], slow[:-1]]))
    for i in begins:
        moment = (
            own[i]
            if i == 0
            else own[i - 1] + (own[i] - own[i - 1]) * (speed[i - 1] - limit) / (speed[i - 1] - speed[i])
        )
        fast_again = np.flatnonzero(~slow[i:])
        until = own[i + fast_again[0]] if fast_again.size else own[-1]
        moment = max(float(moment), from_s)
        if until - moment >= rules.stop_for_s:
            return moment
    return None


def _wall_s(motion: Motion, coast: Coast, ahead: Bow, from_s: float) -> float | None:
    """When the bow first came within the wall margin, interpolated between frames; None if it did not."""
    kept = max(int(np.searchsorted(motion.time_s, from_s)) - 1, 0)
    own = motion.time_s[kept:]
    room = room_mm(motion.place_mm[kept:] + ahead.foremost_mm[kept:], coast.tank) - coast.rules.wall_margin_mm
    touched = np.flatnonzero((room <= 0) & (own >= from_s))
    if not touched.size:
        return None
    i = int(touched[0])
    if i == 0 or room[i - 1] <= 0:
        return float(own[i])
    return max(from_s, float(own[i - 1] + (own[i] - own[i - 1]) * room[i - 1] / (room[i - 1] - room[i])))


def room_mm(points_mm: Floats, tank: Tank) -> Floats:
    """(N,) distance of points (N, 2) from the nearest wall; negative outside the tank."""
    return inside_mm(points_mm, np.array(tank.outline_mm))
