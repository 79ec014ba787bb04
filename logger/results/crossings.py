"""When the bow reached a line by the camera, and whether a gate agrees.

The camera's moment is the root of the bow's distance to the line on the smoothed motion, so it falls between frames.
Its doubt in seconds is the doubt in millimetres (of the motion there, of the outline, of the line's place, of every
systematic source of the track) put through the bow's own way there, forward and back; and the camera's delay, which
cancels between two moments of one camera but not against a gate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import final

import numpy as np
from numpy.typing import NDArray

from calibration.quantity import Quantity, Source
from logger.results import bow, path, sources
from logger.results.budget import Owner
from logger.results.lines import Ahead, place_source
from logger.results.motion import Motion
from logger.results.trial import Crossing, NotMeasured, Witness

Floats = NDArray[np.float64]

_PARTS = 33
"""Points on which one frame interval is searched: over 1 ms a boat's way is straight to 0.1 µm."""
_SURELY_PAST_MM = 3.0
"""A bow that trembles at the line has crossed it only when it went on by this much."""
_NEAR_S = 0.5
"""A crossing farther than this from a first guess is another one."""
STANDING_MM_PER_S = 1.0
"""Slower than this a boat stands, and when it was at the line has no answer."""


@final
@dataclass(frozen=True, slots=True)
class Reached:
    """The bow was at a line."""

    line: str
    time: Quantity
    """Seconds after the run's origin."""
    witness: Witness

    def crossing(self, origin_ns: int) -> Crossing:
        """As it stands in a trial."""
        return Crossing(self.line, self.t_ns(origin_ns), self.time.u, self.witness)

    def t_ns(self, origin_ns: int) -> int:
        """When, as a stamp."""
        return origin_ns + round(self.time.value * 1e9)


@dataclass(frozen=True, slots=True)
class CameraDoubts:
    """What else must be known to say how well the camera knows a moment."""

    owner: Owner
    u_delay_s: float = 0.0


def moment_s(motion: Motion, line: Ahead, *, after_s: float = -np.inf) -> float | NotMeasured:
    """Seconds after the motion's first moment when the bow first went over the line, not before `after_s`."""
    past = bow.past_line_mm(motion, line)
    own = motion.time_s
    counted = own >= after_s
    name = line.line.name
    if not counted.any() or (past[counted][-1] < 0 and past[counted].max() < _SURELY_PAST_MM):
        return NotMeasured(f"The camera did not see the bow reach the {name} line.")
    if past[counted][0] >= 0:
        return NotMeasured(f"The bow was already past the {name} line when the camera first saw the boat.")
    surely = np.flatnonzero(counted & (past >= min(_SURELY_PAST_MM, past[counted].max())))
    before = np.flatnonzero(counted[: surely[0]] & (past[: surely[0]] < 0))
    left = int(before[-1])
    fine = np.linspace(own[left], own[left + 1], _PARTS)
    within = bow.past_line_at_mm(motion, line, fine)
    i = int(np.argmax(within >= 0))
    if i == 0:
        return float(fine[0])
    return float(fine[i - 1] + (fine[i] - fine[i - 1]) * within[i - 1] / (within[i - 1] - within[i]))


def moment_near_s(motion: Motion, line: Ahead, guess_s: float) -> float:
    """The crossing next to `guess_s` on a copy of the motion that is a little moved, or a little off a gate's word.

    One Newton step at a time from the guess: the bow's distance over its speed. A boat that nearly stands there leaves
    the guess as it is.
    """
    moment = guess_s
    for _ in range(3):
        near = np.array([moment - 0.002, moment, moment + 0.002])
        forward, _, _ = bow.reach(motion.outline_mm, motion.heading_at(near), line.normal)
        past = line.past_mm(path.places_at(motion, near)) + forward
        speed = (past[2] - past[0]) / 0.004
        if speed < STANDING_MM_PER_S or abs(past[1] / speed) > _NEAR_S:
            return moment
        moment -= float(past[1] / speed)
    return moment


def approach_mm_per_s(motion: Motion, line: Ahead, time_s: float) -> float:
    """How fast the bow comes over the line at `time_s`."""
    before, after = bow.past_line_at_mm(motion, line, np.array([time_s - 0.002, time_s + 0.002]))
    width = min(time_s + 0.002, motion.time_s[-1]) - max(time_s - 0.002, 0.0)
    return float((after - before) / width)


def by_camera(
    motion: Motion, line: Ahead, doubts: CameraDoubts, *, origin_ns: int, after_s: float = -np.inf
) -> Reached | NotMeasured:
    """When the bow went over the line, with every contribution in seconds.

    Args:
        motion: the smoothed run.
        line: as the boat meets it.
        doubts: whose run it is and what is known of the camera's delay.
        origin_ns: the moment from which the result counts.
        after_s: nothing before this (seconds after the motion's first moment) counts.
    """
    found = moment_s(motion, line, after_s=after_s)
    if isinstance(found, NotMeasured):
        return found
    if approach_mm_per_s(motion, line, found) < STANDING_MM_PER_S:
        return NotMeasured(f"The boat stood still on the {line.line.name} line, so when it got there has no answer.")
    seconds = Clock.at(motion, line, found).seconds
    parts: dict[Source, float] = {
        sources.of_run(f"positions near the {line.line.name} line", doubts.owner.run_id): seconds(
            u_past_mm(motion, line, found)
        ),
        sources.of_boat("boat outline", doubts.owner.boat): -seconds(motion.u_outline_mm),
        place_source(line.line): seconds(line.line.u_mm),
        Source("camera delay"): -doubts.u_delay_s,
    }
    states = motion.shifted_places_at(found)
    for name, moved_mm in states.items():
        parts[sources.of_track(name, doubts.owner.boat)] = -seconds(float(line.normal @ moved_mm))
    begins_s = (int(motion.t_ns[0]) - origin_ns) / 1e9
    return Reached(line.line.name, Quantity(begins_s + found, "s", parts), "camera")


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """Millimetres to seconds around a moment: when the bow is how much farther than it was then."""

    moment_s: float
    time_s: Floats
    farther_mm: Floats
    """Rising."""

    @staticmethod
    def at(motion: Motion, line: Ahead, moment_s: float) -> Clock:
        """The stretch around `moment_s` on which the bow goes steadily forward."""
        time = np.clip(moment_s + _NEAR_S * np.linspace(-1, 1, 501), 0.0, motion.time_s[-1])
        forward, _, _ = bow.reach(motion.outline_mm, motion.heading_at(time), line.normal)
        past = line.past_mm(path.places_at(motion, time)) + forward
        rises = np.diff(past) > 0
        first = int(np.max(np.flatnonzero(~rises[:250]), initial=-1)) + 1
        last = 250 + int(np.min(np.flatnonzero(~rises[250:]), initial=len(rises) - 250))
        return Clock(moment_s, time[first : last + 1], past[first : last + 1] - past[250])

    def seconds(self, mm: float) -> float:
        """By how much the moment would be later if it were `mm` farther: root mean square of both ways.

        A boat that gathers way at the start line makes the two differ; a way on which it was not is left out.
        """
        both = [self.later_s(mm), -self.later_s(-mm)]
        known = [s for s in both if s == s]  # nan is not equal to itself
        if not known:
            speed = (self.farther_mm[-1] - self.farther_mm[0]) / (self.time_s[-1] - self.time_s[0])
            return float(mm / speed)
        return float(np.copysign(np.sqrt(np.mean(np.square(known))), mm))

    def later_s(self, mm: float) -> float:
        """How much later the bow is `mm` farther; nan if it was not seen to get there."""
        return float(np.interp(mm, self.farther_mm, self.time_s, left=np.nan, right=np.nan)) - self.moment_s


def u_past_mm(motion: Motion, line: Ahead, time_s: float) -> float:
    """Random standard uncertainty of how far the bow is past the line: of the place, and of the heading's turn."""
    cov = motion.covariances_at(time_s)[0]
    place = line.normal @ cov[np.ix_([0, 3], [0, 3])] @ line.normal
    _, turn, _ = bow.reach(motion.outline_mm, motion.heading_at(time_s), line.normal)
    return float(np.sqrt(place + (turn[0] * motion.u_heading_at(time_s)[0]) ** 2))


@dataclass(frozen=True, slots=True)
class Agreement:
    """A gate's and the camera's word on one line."""

    line: str
    difference_s: float
    """Gate minus camera."""
    u_s: float

    @property
    def normalised(self) -> float:
        """|difference| / u; above 2 it is odd, above 3 one of the two is wrong."""
        return abs(self.difference_s) / self.u_s if self.u_s > 0 else np.inf

    @property
    def holds(self) -> bool:
        """Whether both can be right."""
        return self.normalised <= 3.0


def agreement(gate: Reached, camera: Reached) -> Agreement:
    """Compare the two witnesses of one line."""
    difference = gate.time - camera.time
    return Agreement(gate.line, difference.value, difference.u)
