"""How fast: mean from line to line, at a line, and at most. Inside mm/s; results in m/s."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.quantity import Quantity, Source
from logger.results import bow, path, sources
from logger.results.budget import Owner
from logger.results.columns import SPEED_MAX_WINDOW_S
from logger.results.crossings import approach_mm_per_s, moment_s
from logger.results.lines import Ahead, place_source
from logger.results.motion import AX, AY, VX, VY, Motion
from logger.results.trial import NotMeasured

Floats = NDArray[np.float64]
_M = 1e-3


def mean(distance_mm: Quantity, time_s: Quantity) -> Quantity:
    """Distance over time, m/s. A line that is off moves distance and time together; their sources say so."""
    return distance_mm.scaled(_M, "m").over(time_s, "m/s")


def at_line(motion: Motion, line: Ahead, *, owner: Owner, after_s: float = -np.inf) -> Quantity | NotMeasured:
    """Speed of the waterline centroid, m/s, at the moment the bow went over the line.

    A doubt of the moment counts through the acceleration there: the speed is read at the wrong moment if the place is
    wrong. So the random part is that of v - (a/w)·s, with w the bow's speed over the line and s its place.
    """
    found = moment_s(motion, line, after_s=after_s)
    if isinstance(found, NotMeasured):
        return found
    state = motion.states_at(found)[0]
    speed = float(np.hypot(state[VX], state[VY]))
    way = np.array([state[VX], state[VY]]) / speed if speed > 0 else line.normal
    over = approach_mm_per_s(motion, line, found)
    late = float(way @ state[[AX, AY]]) / over if over > 0 else 0.0
    random = float(np.hypot(_u_random(motion, line, found, way=way, late=late), _u_turn(motion, line, found) * late))
    parts: dict[Source, float] = {
        sources.of_run(f"speed near the {line.line.name} line", owner.run_id): random,
        sources.of_boat("boat outline", owner.boat): -late * motion.u_outline_mm,
        place_source(line.line): late * line.line.u_mm,
    }
    for name in motion.shifts:
        moved = motion.shifted(name)
        moment = moment_s(moved, line, after_s=after_s)
        if not isinstance(moment, NotMeasured):
            there = moved.states_at(moment)[0]
            parts[sources.of_track(name, owner.boat)] = float(np.hypot(there[VX], there[VY])) - speed
    return Quantity(speed, "mm/s", parts).scaled(_M, "m/s")


def _u_random(motion: Motion, line: Ahead, time_s: float, *, way: Floats, late: float) -> float:
    """Standard deviation of the speed along `way` read at a moment that the place decides, mm/s."""
    gradient = np.zeros(6)
    gradient[[0, 3]] = -late * line.normal
    gradient[[1, 4]] = way
    return float(np.sqrt(gradient @ motion.covariances_at(time_s)[0] @ gradient))


def _u_turn(motion: Motion, line: Ahead, time_s: float) -> float:
    """Doubt of the bow's place through the doubt of the heading, mm."""
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
