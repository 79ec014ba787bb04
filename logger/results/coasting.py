"""How the water slowed a boat after power was cut: the law of drag that its coast speaks for, and its coefficients.

The way is read from the fixes themselves, so that what is left over is noise that is new in every picture: along the
smoothed curve to where a fix lies beside it. It ends where the boat is slower than a few stop speeds: near rest,
draughts and ripples rule, not drag. Which law: the one with the best Bayesian information criterion; the combined one
only if it is clearly better than both others, as its two coefficients are otherwise not to be told apart.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.quantity import Quantity
from logger.results import coast, path, sources
from logger.results.budget import Owner
from logger.results.case import Case
from logger.results.coast import Drag
from logger.results.motion import Motion
from logger.results.stretch import Ending
from logger.results.trial import NotMeasured, Result
from logger.results.witnesses import Testimony
from logger.vision.track import MEASURED, Track

Floats = NDArray[np.float64]

NAMES = ("deceleration_m_per_s2", "drag_linear_per_s", "drag_quadratic_per_m")
_STOP_SPEEDS = 2.0
_FEWEST_COUNT = 15
_CLEARLY = 6.0
"""So much better is clearly better (Kass and Raftery 1995: strong)."""
_NO_PART = "The coast is fitted best by a drag that grows with {}: there is no such part."
_GROWS = {"linear": "the speed alone", "quadratic": "the speed squared alone"}


def answers(case: Case, heard: Testimony, end: Ending) -> dict[str, Result | NotMeasured]:
    """Slowing at the mark line and the coefficients of drag of a drift run; a sentence where they cannot be had."""
    if case.motion is None or case.track is None:
        return dict.fromkeys(NAMES, NotMeasured(case.why_no_motion))
    if not heard.last:
        return dict.fromkeys(NAMES, heard.last)
    from_s = case.since_first_s(heard.last.t_ns(case.origin_ns))
    until_s = _slow_s(case.motion, from_s, case.since_first_s(end.t_ns), _STOP_SPEEDS * case.rules.stop_speed_mm_per_s)
    found = of_coast(case.track, case.motion, from_s, until_s)
    if isinstance(found, NotMeasured):
        return dict.fromkeys(NAMES, found)
    return _told(found, case.owner)


def of_coast(track: Track, motion: Motion, from_s: float, until_s: float) -> Drag | NotMeasured:
    """The drag from the fixes between two moments, seconds after the motion's first."""
    time, way = way_mm(track, motion, from_s, until_s)
    if len(time) < _FEWEST_COUNT:
        return NotMeasured(f"The boat was seen in only {len(time)} pictures of its coast: too few to tell its drag.")
    speed = float(np.interp(from_s, motion.time_s, motion.speed_mm_per_s))
    laws: tuple[coast.Law, ...] = ("linear", "quadratic", "combined")
    found = [coast.drag(time, way, law=law, speed_mm_per_s=speed) for law in laws]
    simple = [one for one in found[:2] if isinstance(one, Drag)]
    best = min(simple, key=lambda one: one.evidence, default=None)
    both = found[2]
    if isinstance(both, Drag) and (best is None or both.evidence < best.evidence - _CLEARLY):
        return both
    if best is not None:
        return best
    return next(one for one in found if isinstance(one, NotMeasured))


def way_mm(track: Track, motion: Motion, from_s: float, until_s: float) -> tuple[Floats, Floats]:
    """(n,) seconds after `from_s`, and (n,) mm from the place there, of the measured fixes between the two moments."""
    own = motion.time_s
    chosen = (own > from_s) & (own < until_s) & (track.quality == MEASURED)
    time = own[chosen]
    if not len(time):
        return time, time
    fine = np.concatenate([[from_s], own[(own > from_s) & (own < until_s)]])
    steps = np.hypot(*np.diff(path.places_at(motion, fine), axis=0).T)
    along = np.interp(time, fine, np.concatenate([[0.0], np.cumsum(steps)]))
    speed = np.maximum(motion.speed_mm_per_s[chosen], 1e-9)
    beside = np.column_stack([track.x_mm, track.y_mm])[chosen] - motion.place_mm[chosen]
    return time - from_s, along + (beside * motion.velocity_mm_per_s[chosen]).sum(axis=1) / speed


def _slow_s(motion: Motion, from_s: float, until_s: float, below_mm_per_s: float) -> float:
    own = motion.time_s
    slow = own[(own > from_s) & (own < until_s) & (motion.speed_mm_per_s < below_mm_per_s)]
    return float(slow[0]) if len(slow) else until_s


def _told(found: Drag, owner: Owner) -> dict[str, Result | NotMeasured]:
    source = sources.of_run("scatter about the law of drag", owner.run_id)
    values = {
        "deceleration_m_per_s2": (1e-3, "m/s2", found.deceleration_mm_per_s2, found.u_deceleration_mm_per_s2),
        "drag_linear_per_s": (1.0, "/s", found.linear_per_s, found.u_linear_per_s),
        "drag_quadratic_per_m": (1e3, "/m", found.quadratic_per_mm, found.u_quadratic_per_mm),
    }
    told: dict[str, Result | NotMeasured] = {}
    for name, (scale, unit, value, u) in values.items():
        if value == 0:
            told[name] = NotMeasured(_NO_PART.format(_GROWS[found.law]))
        else:
            told[name] = Result(Quantity(value * scale, unit, {source: u * scale}), "camera")
    return told
