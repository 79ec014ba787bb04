"""How fast: mean from line to line, at a line, and at most. Inside mm/s; results in m/s."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.quantity import Quantity
from logger.results import bow, path, sources
from logger.results.budget import Owner
from logger.results.columns import SPEED_MAX_WINDOW_S
from logger.results.crossings import STANDING_MM_PER_S, approach_mm_per_s, moment_near_s, moment_s
from logger.results.lines import Ahead, place_source
from logger.results.motion import AX, AY, VX, VY, Motion, X, Y
from logger.results.trial import NotMeasured

Floats = NDArray[np.float64]
_M = 1e-3
_P, _V, _A = [X, Y], [VX, VY], [AX, AY]
CORNER_S = 0.15
"""So far before and after a corner the smoothed curve is no longer rounded by it."""
_CORNER_REST = 0.15
"""Share of the smoother's variance at the corner that reading from both sides leaves (seen in the coverage bench)."""
_GUSTS = 0.001
"""Pushes that change and change back within the smoother's quarter of a second leave no trace in the positions; of a
fan or breath they are this share of the speed (seen in the coverage bench; common practice, no source)."""
_CORNER_NEAR_S = 0.06
"""A corner that the two sides place farther than this from the line is not at the line."""


def mean(distance_mm: Quantity, time_s: Quantity) -> Quantity:
    """Distance over time, m/s. A line that is off moves distance and time together; their sources say so."""
    return distance_mm.scaled(_M, "m").over(time_s, "m/s")


def at_line(
    motion: Motion, line: Ahead, *, owner: Owner, corner: bool, after_s: float = -np.inf
) -> Quantity | NotMeasured:
    """Speed of the waterline centroid, m/s, at the moment the bow went over the line.

    A doubt of the moment counts through the acceleration there: the speed is read at the wrong moment if the place is
    wrong.

    Args:
        motion: the smoothed run.
        line: as the boat meets it.
        owner: of the run.
        corner: the push changes at the line (power is cut there); see `_read_off`.
        after_s: nothing before this (seconds after the motion's first moment) counts.
    """
    found = moment_s(motion, line, after_s=after_s)
    if isinstance(found, NotMeasured):
        return found
    over = approach_mm_per_s(motion, line, found)
    if over < STANDING_MM_PER_S:
        return NotMeasured(f"The boat stood still on the {line.line.name} line.")
    read = _corner(motion, found) if corner else _Reading(0.0, 0.0)
    speed = read.speed_mm_per_s(motion, found)
    late = _gain_mm_per_s2(motion, found, read.reach_s) / over
    parts = {
        sources.of_run("positions near the line", owner.run_id): _u_read(motion, line, found, read, late),
        sources.of_run("heading near the line", owner.run_id): late * _u_turn_mm(motion, line, found),
        sources.of_run("gusts too short to be seen", owner.run_id): _GUSTS * speed,
        sources.of_run("where power was cut", owner.run_id): read.unsure_mm_per_s(motion, found),
        sources.of_boat("boat outline", owner.boat): -late * motion.u_outline_mm,
        place_source(line.line): late * line.line.u_mm,
    }
    for name in motion.shifts:
        moved = motion.shifted(name)
        there = moment_near_s(moved, line, found)
        parts[sources.of_track(name, owner.boat)] = read.speed_mm_per_s(moved, there) - speed
    return Quantity(speed, "mm/s", parts).scaled(_M, "m/s")


@dataclass(frozen=True, slots=True)
class _Reading:
    """How the speed at a moment is read off a smoothed curve that may have a corner there.

    Where power is cut the acceleration jumps, and the speed has a corner. Every smoother rounds corners off: read
    straight off the curve the speed came out 1.5 standard uncertainties low in simulated drift runs. Reaching in from
    `reach_s` before and after, with the acceleration that holds on each side, keeps the corner: error 1.1 instead of
    3.7 mm/s with 0.3 mm of noise. But if power was cut well before or after the line this would invent one.
    """

    reach_s: float
    share: float
    """How far the reading from both sides is believed, 0 to 1; the rest is read straight off."""

    def speed_mm_per_s(self, motion: Motion, time_s: float) -> float:
        """The speed."""
        led, straight = self._both(motion, time_s)
        return self.share * led + (1 - self.share) * straight

    def unsure_mm_per_s(self, motion: Motion, time_s: float) -> float:
        """Doubt of the choice between the two readings: a two-valued quantity's standard deviation."""
        led, straight = self._both(motion, time_s)
        return float(np.sqrt(self.share * (1 - self.share)) * abs(led - straight))

    def _both(self, motion: Motion, time_s: float) -> tuple[float, float]:
        before, middle, after = motion.states_at([time_s - self.reach_s, time_s, time_s + self.reach_s])
        led = (before[_V] + self.reach_s * before[_A] + after[_V] - self.reach_s * after[_A]) / 2
        return float(np.hypot(*led)), float(np.hypot(*middle[_V]))


def _corner(motion: Motion, time_s: float) -> _Reading:
    """Where the lines that lead to the moment from both sides meet tells whether the corner is at the line."""
    reach_s = min(CORNER_S, time_s, float(motion.time_s[-1]) - time_s)
    before, after = motion.states_at([time_s - reach_s, time_s + reach_s])
    way = (before[_V] + after[_V]) / max(float(np.hypot(*(before[_V] + after[_V]))), 1e-9)
    gap = float(way @ (after[_V] - reach_s * after[_A] - before[_V] - reach_s * before[_A]))
    jump = float(way @ (before[_A] - after[_A]))
    off_s = gap / jump if jump != 0 else 0.0
    return _Reading(reach_s, 1.0 / (1.0 + (off_s / _CORNER_NEAR_S) ** 4))


def _u_read(motion: Motion, line: Ahead, time_s: float, read: _Reading, late: float) -> float:
    """Random doubt of the reading, mm/s: of the noise alone where read from both sides, else of the whole curve."""
    middle = motion.states_at(time_s)[0]
    way = middle[_V] / max(float(np.hypot(*middle[_V])), 1e-9)
    at = np.zeros(6)
    at[_V], at[_P] = way, -late * line.normal
    straight = float(np.sqrt(at @ motion.covariances_at(time_s)[0] @ at))
    if read.share == 0:
        return straight
    ends = np.zeros((2, 6))
    ends[:, _V] = way / 2
    ends[0, _A], ends[1, _A] = way * read.reach_s / 2, -way * read.reach_s / 2
    shares = motion.share_at(time_s - read.reach_s, ends[0]) + motion.share_at(time_s + read.reach_s, ends[1])
    noise = motion.u_noise(shares)
    led = np.sqrt(noise**2 + _CORNER_REST * max(straight**2 - noise**2, 0.0))
    return float(np.hypot(read.share * led, (1 - read.share) * straight))


def _gain_mm_per_s2(motion: Motion, time_s: float, reach_s: float) -> float:
    """How fast the speed grows around a moment: mean of both sides."""
    states = motion.states_at([time_s - reach_s, time_s + reach_s])
    speed = np.maximum(np.hypot(*states[:, _V].T), 1e-9)
    return float(((states[:, _V] * states[:, _A]).sum(axis=1) / speed).mean())


def _u_turn_mm(motion: Motion, line: Ahead, time_s: float) -> float:
    """Doubt of the bow's place through the doubt of the heading."""
    _, turn, _ = bow.reach(motion.outline_mm, motion.heading_at(time_s), line.normal)
    return float(abs(turn[0]) * motion.u_heading_at(time_s)[0])


def greatest(motion: Motion, from_s: float, until_s: float) -> float:
    """Highest mean speed over SPEED_MAX_WINDOW_S within a stretch of the motion, m/s: displacement over time.

    A stretch shorter than the window is taken as a whole.
    """
    window = min(SPEED_MAX_WINDOW_S, until_s - from_s)
    own = motion.time_s
    begins = np.concatenate([[from_s], own[(own > from_s) & (own < until_s - window)], [until_s - window]])
    moved = path.places_at(motion, begins + window) - path.places_at(motion, begins)
    return float(np.hypot(moved[:, 0], moved[:, 1]).max()) / window * _M
