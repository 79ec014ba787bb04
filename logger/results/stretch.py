"""The stretch from the start line to the end of the run: where it ends and why, and what is measured along it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from calibration.quantity import Quantity, Source
from logger.config import KindOfRun
from logger.results import bow, budget, drift, path, sources, speeds, swing
from logger.results.case import Case
from logger.results.crossings import moment_near_s
from logger.results.lines import Ahead, place_source
from logger.results.motion import Motion, X, Y
from logger.results.trial import EndReason, NotMeasured, Result
from logger.results.witnesses import Testimony

_UNITS = {
    "drift_mm": "mm", "coast_time_s": "s", "distance_mm": "mm", "speed_max_m_per_s": "m/s", "path_mm": "mm",
    "straightness": "1", "sideways_mm": "mm", "heading_swing_deg": "deg", "stuck_s": "s",
}  # fmt: skip
_ONLY_IN: dict[str, KindOfRun] = {"drift_mm": "drift", "coast_time_s": "drift", "distance_mm": "distance"}
"""Results that only one kind of run has."""
_OF_THE_COAST = ("drift_mm", "coast_time_s")
_PEAKS = ("speed_max_m_per_s", "sideways_mm")


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
        return Ending(last_ns, "finish")
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
    found: dict[str, Result | NotMeasured] = {}
    if case.kind == "drift":
        found |= _measured(case, _drift(case, heard), _OF_THE_COAST, at_least=end.reason != "at_rest")
    found |= _measured(case, _along(case, heard, end), wanted[len(found) :])
    return found


def _measured(
    case: Case, asked: _Asked | NotMeasured, names: tuple[str, ...] | list[str], *, at_least: bool = False
) -> dict[str, Result | NotMeasured]:
    if isinstance(asked, NotMeasured):
        return dict.fromkeys(names, asked)
    assert case.motion is not None  # noqa: S101 - asked only of a motion
    values: dict[str, Quantity] | NotMeasured = budget.quantities(
        asked.measures, case.motion, case.owner, units=_UNITS, seed=case.seed, peaks=_PEAKS
    )
    if isinstance(values, NotMeasured):
        return dict.fromkeys(names, values)
    values |= asked.instead
    return {
        name: Result(budget.plus(value, asked.more.get(name, {})), "camera", at_least) for name, value in values.items()
    }


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """Measures of a motion, and the doubts that do not come from its positions."""

    measures: budget.Measures
    more: Mapping[str, Mapping[Source, float]]
    instead: Mapping[str, Quantity] = field(default_factory=dict)
    """Those that are better read from the fixes themselves."""


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

    def measures(motion: Motion) -> Mapping[str, float]:
        lasted_s = drift.end(motion, coast, ahead, from_s=from_s).time_s - from_s
        return {"drift_mm": drift.drift_mm(motion, coast, ahead, from_s=from_s), "coast_time_s": lasted_s}

    reached = {source: -part for source, part in heard.last.time.contributions.items()}
    return _Asked(measures, {"drift_mm": more, "coast_time_s": reached})


def _along(case: Case, heard: Testimony, end: Ending) -> _Asked | NotMeasured:
    if not heard.first:
        return heard.first
    assert case.motion is not None and case.first is not None  # noqa: S101, PT018
    begin_s = case.since_first_s(heard.first.t_ns(case.origin_ns))
    end_s = case.since_first_s(end.t_ns)
    within = max(begin_s, 0.0), min(end_s, float(case.motion.time_s[-1]))
    if within[1] - within[0] <= 0.05:
        return NotMeasured("The camera did not see the boat between the start line and the end of the run.")
    last = case.last if end.reason == "finish" else None
    near = None if case.track is None else speeds.top(case.motion, case.track, *within, owner=case.owner)
    return _Asked(
        _on_the_way(case, heard, begin_s, end_s, last=last),
        _doubts_beside(case, case.first, last, within),
        {} if near is None else {"speed_max_m_per_s": near},
    )


def _on_the_way(case: Case, heard: Testimony, begin_s: float, end_s: float, *, last: Ahead | None) -> budget.Measures:
    """What is asked of a motion between the start line and the end; `last`: the line at which it ended, if at one."""
    assert case.motion is not None and case.first is not None  # noqa: S101, PT018
    first = case.first
    coast = coast_of(case, heard) if case.kind == "drift" and heard.last else None
    ahead = None if coast is None else coast.bow_for(case.motion)
    last_s = float(np.clip(end_s, 0.0, case.motion.time_s[-1]))
    forward_mm = float(bow.reach(case.motion.outline_mm, case.motion.heading_at(last_s), first.normal)[0][0])
    from_s = 0.0 if not heard.last else case.since_first_s(heard.last.t_ns(case.origin_ns))

    def measures(motion: Motion) -> Mapping[str, float]:
        begin = moment_near_s(motion, first, begin_s)
        if coast is not None and ahead is not None:
            until = drift.end(motion, coast, ahead, from_s=from_s).time_s
        else:
            until = end_s if last is None else moment_near_s(motion, last, end_s)
        along = path.way(motion, begin, until)
        found = {
            "speed_max_m_per_s": speeds.greatest(motion, begin, until),
            "path_mm": along.length_mm,
            "straightness": along.straightness,
            "sideways_mm": along.sideways_mm,
            "heading_swing_deg": swing.swing_deg(motion, begin, until),
            "stuck_s": swing.slow_s(motion, begin, until, below_mm_per_s=case.rules.stop_speed_mm_per_s),
        }
        if case.kind == "distance":
            found["distance_mm"] = float(first.past_mm(motion.states_at(until)[0, [X, Y]])) + forward_mm
        return found

    return measures


def _doubts_beside(
    case: Case, first: Ahead, last: Ahead | None, within: tuple[float, float]
) -> Mapping[str, Mapping[Source, float]]:
    """The doubts of what is asked along the way that do not come from the positions."""
    assert case.motion is not None  # noqa: S101 - asked only of a motion
    outline = sources.of_boat("boat outline", case.owner.boat)
    begins = {place_source(first.line): -first.line.u_mm, outline: case.motion.u_outline_mm}
    between = begins if last is None else {**begins, place_source(last.line): last.line.u_mm, outline: 0.0}
    top = speeds.greatest(case.motion, *within)
    return {
        "path_mm": between,
        "distance_mm": begins,
        "speed_max_m_per_s": {sources.of_run("gusts too short to be seen", case.owner.run_id): speeds.GUSTS * top},
        "heading_swing_deg": {
            sources.of_run("noise of the heading", case.owner.run_id): swing.u_swing_deg(case.motion, *within)
        },
    }
