"""How the water slowed a boat after power was cut: the law of drag that its coast speaks for, and its coefficients.

The way is read from the fixes themselves, so that what is left over is noise that is new in every picture: along the
smoothed curve to where a fix lies beside it. It begins a little after the mark line, as a hand may cut the power late,
and goes on until the boat hardly moves.

Which law: real hulls have both kinds of drag, and real rooms have draughts. Where a coast tells them apart, both
coefficients are given as they come out, also one that may be nothing: its ± says so. A law with one term alone, or none
for the draught, would state its terms with a doubt far too small. Where the coast does not tell a draught from drag
(one that ends at a wall), both coefficients are given for still air, with what a usual draught would make of them as a
doubt. Where it does not tell the two kinds of drag apart, the simple law with the better Bayesian information criterion
says how quickly drag slowed the boat, with the difference between the simple laws as a doubt, and no coefficient is
given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.quantity import Quantity
from logger.results import coast, path, sources, speeds
from logger.results.budget import Owner
from logger.results.case import Case
from logger.results.coast import Drag, Law
from logger.results.motion import Motion
from logger.results.stretch import Ending
from logger.results.trial import NotMeasured, Result
from logger.results.witnesses import Testimony
from logger.vision.track import MEASURED, Track

Floats = NDArray[np.float64]

NAMES = ("deceleration_m_per_s2", "drag_linear_per_s", "drag_quadratic_per_m")
_CUT_LATE_S = 0.3
"""So late a hand may cut the power (common practice, no source)."""
_STOP_SPEEDS = 0.5
"""Slower than this share of the stop speed it has no direction in which to go on."""
_FEWEST_COUNT = 15
_U_CREEP_MM_PER_S = 3.0
"""At such speeds draughts in closed rooms keep a boat creeping (common practice, no source)."""
_SIMPLE: tuple[Law, ...] = ("linear", "quadratic")
_NOT_APART = "This coast does not tell drag that grows with the speed from drag that grows with its square."


@dataclass(frozen=True, slots=True)
class Coasting:
    """What holds the boat: coefficients of drag over the moving mass, and its slowing at one speed."""

    law: Law
    """The one that was used."""
    slowing: Quantity
    """Loss of speed by drag at the speed it had at the mark line, mm/s²."""
    linear: Quantity | None
    """1/s; None where the coast does not tell it."""
    quadratic: Quantity | None
    """1/mm; None with the other."""


def answers(case: Case, heard: Testimony, end: Ending) -> dict[str, Result | NotMeasured]:
    """Slowing at the mark line and the coefficients of drag of a drift run; a sentence where they cannot be had."""
    if case.motion is None or case.track is None:
        return dict.fromkeys(NAMES, NotMeasured(case.why_no_motion))
    if not heard.last:
        return dict.fromkeys(NAMES, heard.last)
    assert case.last is not None  # noqa: S101 - it was reached
    from_s = case.since_first_s(heard.last.t_ns(case.origin_ns))
    over_s = float(case.motion.time_s[-1]) if end.reason == "at_rest" else case.since_first_s(end.t_ns)
    until_s = _slow_s(case.motion, from_s, over_s, _STOP_SPEEDS * case.rules.stop_speed_mm_per_s)
    at_line = speeds.at_line(
        case.motion, case.track, case.last, owner=case.owner, power_cut=True, after_s=case.since_first_s(case.from_ns)
    )
    if isinstance(at_line, NotMeasured):
        return dict.fromkeys(NAMES, at_line)
    found = of_coast(case.track, case.motion, from_s, until_s, at_line=at_line.scaled(1e3, "mm/s"), owner=case.owner)
    if isinstance(found, NotMeasured):
        return dict.fromkeys(NAMES, found)
    return {
        "deceleration_m_per_s2": Result(found.slowing.scaled(1e-3, "m/s2"), "camera"),
        "drag_linear_per_s": _told(found.linear, 1.0, "/s"),
        "drag_quadratic_per_m": _told(found.quadratic, 1e3, "/m"),
    }


def _told(found: Quantity | None, factor: float, unit: str) -> Result | NotMeasured:
    return NotMeasured(_NOT_APART) if found is None else Result(found.scaled(factor, unit), "camera")


def of_coast(
    track: Track, motion: Motion, from_s: float, until_s: float, *, at_line: Quantity, owner: Owner
) -> Coasting | NotMeasured:
    """The drag from the fixes between two moments, seconds after the motion's first; power was cut at the earlier.

    `at_line`: the speed there, mm/s.
    """
    begin_s = from_s + _CUT_LATE_S
    found = _fitted(track, motion, begin_s, until_s)
    if isinstance(found, NotMeasured):
        return found
    speed = at_line.value
    rise = found.linear_per_s + 2 * found.quadratic_per_mm * speed
    scatter = sources.of_run("scatter about the law of drag", owner.run_id)
    slowing = {source: rise * part for source, part in at_line.contributions.items()}
    slowing[scatter] = motion.caution**0.5 * found.u_slowing_mm_per_s2(speed)
    linear, quadratic = (
        {scatter: motion.caution**0.5 * found.u_linear_per_s},
        {scatter: motion.caution**0.5 * found.u_quadratic_per_mm},
    )
    for name, shift in track.shifts_mm.items():
        off = replace(track, x_mm=track.x_mm + shift[:, 0], y_mm=track.y_mm + shift[:, 1])
        other = _fitted(off, motion.shifted(name), begin_s, until_s, law=found.law)
        if not isinstance(other, NotMeasured):
            source = sources.of_track(name, owner.boat)
            slowing[source] = slowing.get(source, 0.0) + other.slowing_mm_per_s2(speed) - found.slowing_mm_per_s2(speed)
            linear[source] = other.linear_per_s - found.linear_per_s
            quadratic[source] = other.quadratic_per_mm - found.quadratic_per_mm
    if found.law == "combined":
        draught = sources.of_run("draught over the water", owner.run_id)
        other = _fitted(track, motion, begin_s, until_s, law="combined", creep_mm_per_s=_U_CREEP_MM_PER_S)
        if isinstance(other, NotMeasured):
            return NotMeasured("The coast is too short to tell drag from a draught.")
        slowing[draught] = other.slowing_mm_per_s2(speed) - found.slowing_mm_per_s2(speed)
        linear[draught] = other.linear_per_s - found.linear_per_s
        quadratic[draught] = other.quadratic_per_mm - found.quadratic_per_mm
    value = found.slowing_mm_per_s2(speed)
    if found.law in _SIMPLE:
        laws = [_fitted(track, motion, begin_s, until_s, law=law) for law in _SIMPLE]
        values = [law.slowing_mm_per_s2(speed) for law in laws if isinstance(law, Drag)]
        slowing[sources.of_run("which law of drag", owner.run_id)] = max(values) - min(values)
        return Coasting(found.law, Quantity(value, "mm/s2", slowing), None, None)
    return Coasting(
        found.law,
        Quantity(value, "mm/s2", slowing),
        Quantity(found.linear_per_s, "/s", linear),
        Quantity(found.quadratic_per_mm, "/mm", quadratic),
    )


def _fitted(
    track: Track, motion: Motion, from_s: float, until_s: float, law: Law | None = None, creep_mm_per_s: float = 0.0
) -> Drag | NotMeasured:
    """The drag by one law, or by the first that the coast tells: with a draught, without, the better simple one."""
    time, way = way_mm(track, motion, from_s, until_s)
    if len(time) < _FEWEST_COUNT:
        return NotMeasured(f"The boat was seen in only {len(time)} pictures of its coast: too few to tell its drag.")
    speed = float(np.interp(from_s, motion.time_s, motion.speed_mm_per_s))
    both = coast.drag(time, way, law=law or "drafted", speed_mm_per_s=speed, creep_mm_per_s=creep_mm_per_s)
    if law is not None or isinstance(both, Drag):
        return both
    still = coast.drag(time, way, law="combined", speed_mm_per_s=speed)
    if isinstance(still, Drag):
        return still
    found = [coast.drag(time, way, law=one, speed_mm_per_s=speed) for one in _SIMPLE]
    told = [one for one in found if isinstance(one, Drag)]
    return min(told, key=lambda one: one.evidence) if told else both


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
