"""The stretch from the start line to the end of the run: where it ends and why, and what is measured along it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.quantity import Quantity, Source
from logger.config import KindOfRun
from logger.results import bow, budget, drift, path, sources, speeds, swing, times
from logger.results.case import Case
from logger.results.crossings import STANDING_MM_PER_S, Reached, approach_mm_per_s, moment_near_s, moment_s
from logger.results.lines import Ahead, place_source
from logger.results.motion import Motion, X, Y
from logger.results.trial import EndReason, NotMeasured, Result
from logger.results.witnesses import Testimony, denied

_UNITS = {
    "drift_mm": "mm", "coast_time_s": "s", "distance_mm": "mm", "speed_max_m_per_s": "m/s", "path_mm": "mm",
    "straightness": "1", "sideways_mm": "mm", "heading_swing_deg": "deg", "stuck_s": "s",
}  # fmt: skip
_ONLY_IN: dict[str, KindOfRun] = {"drift_mm": "drift", "coast_time_s": "drift", "distance_mm": "distance"}
"""Results that only one kind of run has."""
_OF_THE_COAST = ("drift_mm", "coast_time_s")
PEAKS = ("speed_max_m_per_s", "straightness", "sideways_mm", "heading_swing_deg")
"""What noise can only raise, or only lower."""

_U_SMOOTHNESS = 0.4
"""The same noise says how smooth a way was and where it was farthest aside: there the curve follows the noise more than
elsewhere, by about this share of what the draws scatter, which take the smoothness as known (from simulated runs)."""


@dataclass(frozen=True, slots=True)
class Ending:
    """When the run was over, and why."""

    t_ns: int
    reason: EndReason


def ending(case: Case, heard: Testimony) -> Ending:
    """The finish, the end of the coast, the cap, a hand, or the end of the recording, whichever came first."""
    until = _until(case, heard)
    if not heard.last:
        return until
    last_ns = heard.last.t_ns(case.origin_ns)
    if case.kind != "drift":
        return Ending(last_ns, "finish") if last_ns <= until.t_ns else until
    coast = coast_of(case, heard)
    if case.motion is None or coast is None:
        return until
    found = drift.end(case.motion, coast, coast.bow_for(case.motion), from_s=case.since_first_s(last_ns))
    return Ending(int(case.motion.t_ns[0]) + round(found.time_s * 1e9), found.reason)


def begun_ns(case: Case, heard: Testimony) -> int | None:
    """When the run began: at go, or else at the start line; None if neither is known."""
    if case.story.go_ns is not None:
        return case.story.go_ns
    return heard.first.t_ns(case.origin_ns) if heard.first else None


def _until(case: Case, heard: Testimony) -> Ending:
    """What ends a run that does not end by itself."""
    found: list[Ending] = []
    if (began_ns := begun_ns(case, heard)) is not None:
        found.append(Ending(began_ns + round(case.rules.time_cap_s * 1e9), "time_cap"))
    if case.story.stop_ns is not None:
        found.append(Ending(case.story.stop_ns, "stopped_by_hand"))
    found.append(Ending(case.ends_ns, "recording_ended"))  # last: of equal moments the first in the list is the reason
    return min(found, key=lambda e: e.t_ns)


def coast_of(case: Case, heard: Testimony) -> drift.Coast | None:
    """The coast after the mark line; None without a motion or a mark line."""
    if case.motion is None or case.last is None:
        return None
    until = _until(case, heard)
    reason = until.reason
    until_s = np.inf if reason == "recording_ended" else case.since_first_s(until.t_ns)
    return drift.Coast(case.last, case.rig.tank, case.rules, until_s, reason)


def answers(case: Case, heard: Testimony, end: Ending) -> Mapping[str, Result | NotMeasured]:
    """Drift, top speed, path and what else there is along it; a sentence for each that cannot be had."""
    wanted = [n for n in _UNITS if _ONLY_IN.get(n, case.kind) == case.kind]
    if case.motion is None or case.first is None:
        gap = NotMeasured(case.why_no_motion or "The rig has no start line.")
        return dict.fromkeys(wanted, gap)
    coast = _drift(case, heard) if case.kind == "drift" else None
    along = _along(case, heard, end)
    gaps: dict[str, Result | NotMeasured] = {}
    if isinstance(coast, NotMeasured):
        gaps |= dict.fromkeys(_OF_THE_COAST, coast)
    if isinstance(along, NotMeasured):
        gaps |= dict.fromkeys([n for n in wanted if n not in _OF_THE_COAST], along)
    asked = [one for one in (coast, along) if isinstance(one, _Asked)]
    values = _values(case, heard, asked) if asked else {}
    if isinstance(values, NotMeasured):
        return dict.fromkeys(wanted, values)
    cut_off = _OF_THE_COAST if end.reason != "at_rest" else ()
    found = gaps | {name: Result(value, "camera", name in cut_off) for name, value in values.items()}
    return {name: found[name] for name in wanted}


def _values(case: Case, heard: Testimony, asked: Sequence[_Asked]) -> dict[str, Quantity] | NotMeasured:
    """What is asked of the motion, all of it from the same draws."""
    assert case.motion is not None  # noqa: S101 - asked only of a motion
    coast_end = _coast_end(case, heard)

    def measures(motion: Motion) -> Mapping[str, float]:
        over_s = None if coast_end is None else coast_end(motion)
        return {name: value for one in asked for name, value in one.measures(motion, over_s).items()}

    found = budget.quantities(measures, case.motion, case.owner, units=_UNITS, seed=case.seed, peaks=PEAKS)
    if isinstance(found, NotMeasured):
        return found
    for one in asked:
        found |= one.instead
        if one.u_swing_deg:
            u_deg = max(found["heading_swing_deg"].u, one.u_swing_deg)
            noise = sources.of_run("noise of the heading", case.owner.run_id)
            found["heading_swing_deg"] = Quantity(found["heading_swing_deg"].value, "deg", {noise: u_deg})
        found |= {name: budget.plus(found[name], parts) for name, parts in one.more.items() if name in found}
    if "sideways_mm" in found:
        smooth = sources.of_run("how smooth the way was", case.owner.run_id)
        u_mm = _U_SMOOTHNESS * abs(found["sideways_mm"].contributions.get(budget.noise_of(case.owner), 0.0))
        found["sideways_mm"] = found["sideways_mm"].plus_doubt(smooth, u_mm)
    return found


def _coast_end(case: Case, heard: Testimony) -> Callable[[Motion], float] | None:
    """When the coast ended, on any copy of the motion; None in a run that does not end so."""
    coast = coast_of(case, heard) if case.kind == "drift" and heard.last else None
    if coast is None or case.motion is None or not heard.last:
        return None
    ahead, from_s = coast.bow_for(case.motion), case.since_first_s(heard.last.t_ns(case.origin_ns))
    return lambda motion: drift.end(motion, coast, ahead, from_s=from_s).time_s


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """Measures of a motion, and the doubts that do not come from its positions."""

    measures: Callable[[Motion, float | None], Mapping[str, float]]
    """Of a motion, and of when its coast ended in seconds after its first moment; None where it does not end so."""
    more: Mapping[str, Mapping[Source, float]]
    instead: Mapping[str, Quantity] = field(default_factory=dict)
    """Those that are better read from the fixes themselves."""
    u_swing_deg: float = 0.0
    """Of the two directions between which the bow swung; the draws follow its turns a little too closely."""


def _drift(case: Case, heard: Testimony) -> _Asked | NotMeasured:
    coast = coast_of(case, heard)
    if not heard.last:
        return heard.last
    if coast is None or case.motion is None or case.last is None:
        return NotMeasured(case.why_no_motion or "The rig has no mark line.")
    from_s = case.since_first_s(heard.last.t_ns(case.origin_ns))
    if from_s >= case.motion.time_s[-1]:
        return NotMeasured("The camera did not see the boat after the mark line.")
    ahead = coast.bow_for(case.motion)
    stop_s = drift.end(case.motion, coast, ahead, from_s=from_s).time_s
    _, turn, _ = bow.reach(case.motion.outline_mm, case.motion.heading_at(stop_s), case.last.normal)
    more = {
        place_source(case.last.line): -case.last.line.u_mm,
        sources.of_boat("boat outline", case.owner.boat): case.motion.u_outline_mm,
        sources.of_run("heading at the end", case.owner.run_id): float(turn[0] * case.motion.u_heading_at(stop_s)[0]),
    }

    def measures(motion: Motion, over_s: float | None) -> Mapping[str, float]:
        assert over_s is not None  # noqa: S101 - a drift run has one
        return {"drift_mm": drift.past_mm(motion, coast, ahead, over_s), "coast_time_s": over_s - from_s}

    beside = Quantity(0.0, "s", _of_the_end(case, coast, ahead, from_s)) - heard.last.time
    return _Asked(measures, {"drift_mm": more, "coast_time_s": beside.contributions})


def _of_the_end(case: Case, coast: drift.Coast, ahead: drift.Bow, from_s: float) -> dict[Source, float]:
    """How much later the coast ended if the camera's clock or the outline is off: at a wall a longer bow is sooner."""
    assert case.motion is not None  # noqa: S101 - asked only of a motion
    moment_s, sooner_s = (
        drift.end(case.motion, coast, reach, from_s=from_s).time_s
        for reach in (ahead, ahead.farther(case.motion.u_outline_mm))
    )
    return {
        Source("camera delay"): -case.u_camera_moment_s,
        sources.of_boat("boat outline", case.owner.boat): sooner_s - moment_s,
    }


def _along(case: Case, heard: Testimony, end: Ending) -> _Asked | NotMeasured:
    if not heard.first:
        return heard.first
    assert case.motion is not None and case.first is not None  # noqa: S101, PT018
    begin_s = _began_s(case, heard.first)
    end_s = case.since_first_s(end.t_ns)
    within = max(begin_s, 0.0), min(end_s, float(case.motion.time_s[-1]))
    if within[1] - within[0] <= 0.05:
        return NotMeasured("The camera did not see the boat between the start line and the end of the run.")
    last = case.last if end.reason == "finish" else None
    near = None if case.track is None else speeds.top(case.motion, case.track, *within, owner=case.owner)
    return _Asked(
        _on_the_way(case, begin_s, end_s, last=last, top=near is None),
        {
            **_doubts_beside(case, case.first, last, within, by_clock=end.reason in ("time_cap", "stopped_by_hand")),
            "stuck_s": _of_sudden_stops(case, within),
        },
        {} if near is None else {"speed_max_m_per_s": near},
        swing.u_swing_deg(case.motion, *within),
    )


def _began_s(case: Case, first: Reached) -> float:
    """When the way began, seconds after the motion's first moment: by the camera where it denies what the gate says."""
    assert case.motion is not None and case.first is not None  # noqa: S101, PT018
    if denied(first):
        seen = moment_s(case.motion, case.first, after_s=case.since_first_s(case.from_ns))
        if not isinstance(seen, NotMeasured):
            return seen
    return case.since_first_s(first.t_ns(case.origin_ns))


def _on_the_way(
    case: Case, begin_s: float, end_s: float, *, last: Ahead | None, top: bool
) -> Callable[[Motion, float | None], Mapping[str, float]]:
    """What is asked of a motion between the start line and the end.

    `last`: the line at which it ended, if at one; `top`: also the top speed, which otherwise is read from the fixes.
    """
    assert case.motion is not None and case.first is not None  # noqa: S101, PT018
    first = case.first
    last_s = float(np.clip(end_s, 0.0, case.motion.time_s[-1]))
    forward_mm = float(bow.reach(case.motion.outline_mm, case.motion.heading_at(last_s), first.normal)[0][0])

    def measures(motion: Motion, over_s: float | None) -> Mapping[str, float]:
        begin = moment_near_s(motion, first, begin_s)
        if over_s is None:
            over_s = end_s if last is None else moment_near_s(motion, last, end_s)
        along = path.way(motion, begin, over_s)
        found = {
            "path_mm": along.length_mm,
            "straightness": along.straightness,
            "sideways_mm": along.sideways_mm,
            "heading_swing_deg": swing.swing_deg(motion, begin, over_s),
            "stuck_s": swing.slow_s(motion, begin, over_s, below_mm_per_s=case.rules.stop_speed_mm_per_s),
        }
        if top:
            found["speed_max_m_per_s"] = speeds.greatest(motion, begin, over_s)
        if case.kind == "distance":
            found["distance_mm"] = float(first.past_mm(motion.states_at(over_s)[0, [X, Y]])) + forward_mm
        return found

    return measures


def _doubts_beside(
    case: Case, first: Ahead, last: Ahead | None, within: tuple[float, float], *, by_clock: bool
) -> Mapping[str, Mapping[Source, float]]:
    """The doubts of what is asked along the way that do not come from the positions.

    `by_clock`: the run ended at a moment, not at a place; if its stamp is off, the boat was elsewhere.
    """
    assert case.motion is not None  # noqa: S101 - asked only of a motion
    outline = sources.of_boat("boat outline", case.owner.boat)
    begins = {place_source(first.line): -first.line.u_mm, outline: case.motion.u_outline_mm}
    between = begins if last is None else {**begins, place_source(last.line): last.line.u_mm, outline: 0.0}
    top = speeds.greatest(case.motion, *within)
    clock = _of_the_clock(case, within[1]) if by_clock else {}
    between, begins = between | clock, begins | clock
    return {
        "path_mm": between,
        **_by_the_ends(case, first, last, within),
        "distance_mm": begins,
        "speed_max_m_per_s": {sources.of_run("gusts too short to be seen", case.owner.run_id): speeds.GUSTS * top},
    }


def _of_sudden_stops(case: Case, within: tuple[float, float]) -> dict[Source, float]:
    assert case.motion is not None  # noqa: S101 - asked only of a motion
    if case.track is None:
        return {}
    u_s = swing.u_slow_s(case.motion, case.track, *within, below_mm_per_s=case.rules.stop_speed_mm_per_s)
    return {sources.of_run("stops too sudden for the curve", case.owner.run_id): u_s}


def _of_the_clock(case: Case, end_s: float) -> dict[Source, float]:
    """How much farther the boat was if a clock is off; mm."""
    assert case.motion is not None  # noqa: S101 - asked only of a motion
    speed = float(np.interp(end_s, case.motion.time_s, case.motion.speed_mm_per_s))
    u_delay_s = 0.0 if case.rig.camera is None else case.rig.camera.u_delay_s
    return {
        Source("camera delay"): speed * u_delay_s,
        sources.of_run("go signal stamp", case.owner.run_id): speed * times.U_GO_S,
        sources.of_run("clock of the camera", case.owner.run_id): speed * case.u_camera_clock_s,
    }


def _by_the_ends(
    case: Case, first: Ahead, last: Ahead | None, within: tuple[float, float]
) -> dict[str, dict[Source, float]]:
    """What a way that begins or ends elsewhere does to how straight it was."""
    assert case.motion is not None  # noqa: S101 - asked only of a motion
    motion, (begin, end) = case.motion, within
    begin_s = 1 / max(approach_mm_per_s(motion, first, begin), STANDING_MM_PER_S)
    end_s = 0.0 if last is None else 1 / max(approach_mm_per_s(motion, last, end), STANDING_MM_PER_S)
    u_outline = motion.u_outline_mm
    moved = {place_source(first.line): (first.line.u_mm * begin_s, 0.0)}
    if last is not None:
        moved[place_source(last.line)] = 0.0, last.line.u_mm * end_s
    moved[sources.of_boat("boat outline", case.owner.boat)] = -u_outline * begin_s, -u_outline * end_s
    there = path.way(motion, begin, end)
    found: dict[str, dict[Source, float]] = {"straightness": {}, "sideways_mm": {}}
    for source, (later_s, longer_s) in moved.items():
        other = path.way(motion, begin + later_s, max(end + longer_s, begin + later_s + 0.01))
        found["straightness"][source] = other.straightness - there.straightness
        found["sideways_mm"][source] = other.sideways_mm - there.sideways_mm
    return found
