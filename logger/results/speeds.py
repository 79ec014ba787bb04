"""How fast: mean from line to line, at a line, and at most. Inside mm/s; results in m/s."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.quantity import Quantity
from logger.results import nearby, path, sources
from logger.results.budget import Owner
from logger.results.columns import SPEED_MAX_WINDOW_S
from logger.results.crossings import STANDING_MM_PER_S, approach_mm_per_s, moment_s, u_past_mm
from logger.results.lines import Ahead, place_source
from logger.results.motion import VX, VY, Motion
from logger.results.trial import NotMeasured
from logger.vision.track import BRIDGED, Track

Floats = NDArray[np.float64]
_M = 1e-3
_V = [VX, VY]
_SAME_WAY = 0.3
"""Slower than this share of its speed at the line a boat has met something: what follows is another story ..."""
_BLURRED_S = 0.1
"""... which the smoothed speed tells that much too early or too late."""
_FEWEST_EACH_SIDE = 4
_TOP_REACH_S = 0.625
"""Fixes this near the middle of the fastest quarter second count: half a second more than the window."""
GUSTS = 0.001
"""Pushes that change and change back within a quarter of a second leave no trace in the smoothed positions; of a fan or
breath they are this share of the speed (common practice, no source)."""


def mean(distance_mm: Quantity, time_s: Quantity) -> Quantity:
    """Distance over time, m/s. A line that is off moves distance and time together; their sources say so."""
    return distance_mm.scaled(_M, "m").over(time_s, "m/s")


def at_line(
    motion: Motion, track: Track, line: Ahead, *, owner: Owner, power_cut: bool, after_s: float = -np.inf
) -> Quantity | NotMeasured:
    """Speed of the waterline centroid, m/s, at the moment the bow went over the line; see nearby.py.

    A doubt of the moment counts through the acceleration there: the speed is read at the wrong moment if the place is
    wrong.

    Args:
        motion: the smoothed run.
        track: what it was made from.
        line: as the boat meets it.
        owner: of the run.
        power_cut: power is cut at the line.
        after_s: nothing before this (seconds after the motion's first moment) counts.
    """
    found = moment_s(motion, line, after_s=after_s)
    if isinstance(found, NotMeasured):
        return found
    over = approach_mm_per_s(motion, line, found)
    if over < STANDING_MM_PER_S:
        return NotMeasured(f"The boat stood still on the {line.line.name} line.")
    near = _near(motion, track, found, nearby.REACH_AT_CUT_S if power_cut else nearby.REACH_S)
    if near is None:
        return NotMeasured(f"The camera saw the boat in too few pictures before or after the {line.line.name} line.")
    read = nearby.read(near, speed_mm_per_s=_forward(motion, found)[1], power_cut=power_cut)
    late = read.gain_mm_per_s2 / over
    parts = {
        sources.of_run("positions near the line", owner.run_id): motion.caution**0.5 * read.u_mm_per_s,
        sources.of_run("when the bow was at the line", owner.run_id): late * u_past_mm(motion, line, found),
        sources.of_boat("boat outline", owner.boat): -late * motion.u_outline_mm,
        place_source(line.line): late * line.line.u_mm,
        sources.of_run("gusts too short to be seen", owner.run_id): GUSTS * read.speed_mm_per_s,
    }
    places = motion.shifted_places_at(found)
    for name, moved in zip(motion.shifts, read.moved_mm_per_s, strict=True):
        parts[sources.of_track(name, owner.boat)] = float(moved) - late * float(line.normal @ places[name])
    return Quantity(read.speed_mm_per_s, "mm/s", parts).scaled(_M, "m/s")


def _near(motion: Motion, track: Track, moment_s: float, reach_s: float) -> nearby.Near | None:
    """The fixes within `reach_s` of a moment, more if they are sparse; None if there are too few."""
    way, _ = _forward(motion, moment_s)
    since, measured = motion.time_s - moment_s, track.quality != BRIDGED
    begins, ends = _undisturbed(motion, moment_s, way)
    before = np.flatnonzero(measured & (since < 0) & (motion.time_s >= begins))[::-1]
    after = np.flatnonzero(measured & (since >= 0) & (motion.time_s <= ends))
    kept = [
        side[(np.abs(since[side]) <= reach_s) | (np.arange(len(side)) < _FEWEST_EACH_SIDE)] for side in (before, after)
    ]
    if min(len(side) for side in kept) < _FEWEST_EACH_SIDE:
        return None
    chosen = np.sort(np.concatenate(kept))
    middle = np.array([track.x_mm[chosen].mean(), track.y_mm[chosen].mean()])
    places = np.column_stack([track.x_mm, track.y_mm])[chosen] - middle
    moved = [shift[chosen] @ way for shift in track.shifts_mm.values()]
    u_mm = np.sqrt(way @ np.linalg.inv(motion.weight[chosen]) @ way)
    return nearby.Near(since[chosen], np.column_stack([places @ way, *moved]), u_mm)


def _forward(motion: Motion, moment_s: float) -> tuple[Floats, float]:
    """The boat's direction (2,) and its speed in mm/s, as smoothed."""
    velocity = motion.states_at(moment_s)[0, _V]
    speed = max(float(np.hypot(*velocity)), STANDING_MM_PER_S)
    return velocity / speed, speed


def _undisturbed(motion: Motion, moment_s: float, way: Floats) -> tuple[float, float]:
    """The stretch around a moment in which the boat went on the same way: from, until."""
    forward = motion.velocity_mm_per_s @ way
    stopped = forward < _SAME_WAY * float(motion.states_at(moment_s)[0, _V] @ way)
    before, after = (
        motion.time_s[stopped & (motion.time_s < moment_s)],
        motion.time_s[stopped & (motion.time_s > moment_s)],
    )
    begins = -np.inf if not before.size else float(before[-1]) + _BLURRED_S
    return begins, np.inf if not after.size else float(after[0]) - _BLURRED_S


def top(motion: Motion, track: Track, from_s: float, until_s: float, *, owner: Owner) -> Quantity | None:
    """Highest mean speed over SPEED_MAX_WINDOW_S, m/s, from the fixes near it; None if they are too few.

    The smoothed curve says when it was and no more: in a long steady run it is too stiff to follow every swing of the
    speed, so its own greatest value is too low and too sure of itself.
    """
    window, begin, _ = _fastest(motion, from_s, until_s)
    near = _near(motion, track, begin + window / 2, _TOP_REACH_S)
    if near is None:
        return None
    speeds, u_mm_per_s = nearby.mean(near, window)
    parts = {sources.of_run("positions near the top speed", owner.run_id): motion.caution**0.5 * u_mm_per_s}
    for name, moved in zip(motion.shifts, speeds[1:], strict=True):
        parts[sources.of_track(name, owner.boat)] = float(moved)
    return Quantity(float(speeds[0]), "mm/s", parts).scaled(_M, "m/s")


def greatest(motion: Motion, from_s: float, until_s: float) -> float:
    """Highest mean speed over SPEED_MAX_WINDOW_S within a stretch of the motion, m/s: displacement over time.

    A stretch shorter than the window is taken as a whole.
    """
    return _fastest(motion, from_s, until_s)[2] * _M


def _fastest(motion: Motion, from_s: float, until_s: float) -> tuple[float, float, float]:
    """The fastest window of the smoothed curve: its length, its beginning, the mean speed in mm/s."""
    window = min(SPEED_MAX_WINDOW_S, until_s - from_s)
    own = motion.time_s
    # also such as end at a picture: where pictures are lost the fastest one may begin between two
    begins = np.concatenate([[from_s, until_s - window], own, own - window])
    begins = begins[(begins >= from_s) & (begins <= until_s - window)]
    moved = path.places_at(motion, begins + window) - path.places_at(motion, begins)
    far = np.hypot(moved[:, 0], moved[:, 1])
    return window, float(begins[far.argmax()]), float(far.max()) / window
