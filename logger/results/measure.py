"""Recording -> trial. The recipe of the whole instrument, in order:

    look       the tracker finds the boat in the pictures, the smoother makes a motion of it     (vision, motion)
    listen     edges become passages, events say what people did                                 (passages, story)
    cross      when the bow was at the first and the last line, and who says so                  (witnesses)
    measure    times, speeds, drift, path: each with its budget                                  (times ... path)
    doubt      what was odd, in sentences                                                        (doubts)

Pure: no clock, no chance but the draws whose seed is the run's own name. Same recording and rig, same bits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calibration.quantity import Quantity
from logger.config import BY_HAND, KindOfRun, Rig, ZoneKind
from logger.recording.folder import Recording
from logger.results import (
    budget,
    by_hand,
    coasting,
    doubts,
    since_calibrated,
    speeds,
    stretch,
    times,
    touched,
    troubles,
    visits,
)
from logger.results.case import Case, case_of
from logger.results.gates import GatePair, passing_speed
from logger.results.lines import distance_between
from logger.results.motion import Motion
from logger.results.software import software
from logger.results.trial import NotMeasured, Result, Status, Trial
from logger.results.witnesses import Testimony, beam_to_beam, denied, testimony
from logger.vision.track import NotFound, Track
from logger.vision.tracker import track_boat

Answers = Mapping[str, Result | NotMeasured]

_CHANGE = 0.05
"""By what share a boat under power may change its speed while it passes the finish beam."""
_ODD = 3.0
"""So many standard uncertainties apart, two speeds of one moment cannot both be right."""
_OWN_COUNTS: dict[KindOfRun, tuple[str, ZoneKind | None]] = {
    "course": ("ports and obstacles", "port"),
    "cargo": ("pieces of cargo", None),
    "rings": ("rings", "ring"),
}
"""What a kind of run counts, and the zones that let the camera do it; None: people do."""


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What came of one recording."""

    trial: Trial
    motion: Motion | None
    """None if the camera did not see the boat, or there is no camera."""


def measure(recording: Recording, rig: Rig | None = None) -> Outcome:
    """Measure one recording, with the rig as it was then or, if given, as it is now known to have been.

    Raises:
        InputError: the video cannot be read.
    """
    rig = rig or recording.rig
    return conclude(recording, rig, look(recording, rig))


def look(recording: Recording, rig: Rig) -> Track | NotFound | None:
    """What the camera makes of the run; None if there is no video. InputError if it cannot be read."""
    return track_boat(recording, rig) if recording.video is not None else None


def conclude(recording: Recording, rig: Rig, seen: Track | NotFound | None) -> Outcome:
    """The trial that follows from a recording and what the camera made of it (None: there is no video)."""
    case = case_of(recording, rig, seen)
    heard = testimony(case)
    ending = stretch.ending(case, heard)
    answers: dict[str, Result | NotMeasured] = {}
    if case.kind not in BY_HAND:
        answers |= {**_times(case, heard), **_mean_speed(case, heard), **_speed_at_line(case, heard)}
        answers |= stretch.answers(case, heard, ending)
        if case.kind == "drift":
            answers |= coasting.answers(case, heard, ending)
    flags = [*recording.doubts, *case.story.notes, *doubts.of_passages(case.passages, origin_ns=case.origin_ns)]
    flags += troubles.told(case.troubles, origin_ns=case.origin_ns, from_ns=case.from_ns, until_ns=case.ends_ns)
    flags += heard.flags
    stays = visits.stays(case, heard, ending)
    came = tuple(stay.visit for stay in stays)
    answers |= visits.answers(case, stays)
    flags += visits.told(came)
    answers |= by_hand.answers(case, recording.events, ending)
    touches = touched.touched(case, heard, ending)
    flags += touched.told(touches, case, heard)
    if case.track is not None and case.motion is not None:
        flags += doubts.of_track(case.track, case.motion)
    elif recording.video is not None:
        flags.append(case.why_no_motion)
    flags += since_calibrated.told(recording, rig)
    flags += _kind_flags(case, answers) + _cut_off(answers, ending)
    trial = Trial(
        run_id=recording.card.id,
        kind=case.kind,
        status=_status(case, heard),
        crossings=tuple(r.crossing(case.origin_ns) for r in (heard.first, heard.last) if r),
        results={name: a for name, a in answers.items() if isinstance(a, Result)},
        not_measured={name: a for name, a in answers.items() if isinstance(a, NotMeasured)},
        flags=tuple(dict.fromkeys(flags)),
        touches=touches,
        visits=came,
        end_reason=ending.reason,
        software=software(),
        calibration_id=recording.calibration_id,
        simulated=recording.card.simulated or rig.simulated,
    )
    return Outcome(trial, case.motion)


def _times(case: Case, heard: Testimony) -> Answers:
    if not heard.last:
        gap = NotMeasured(heard.last.reason)
        return {"time_s": heard.first if not heard.first else gap, "time_from_go_s": gap}
    found: dict[str, Result | NotMeasured] = {}
    found["time_s"] = (
        Result(times.elapsed(heard.first, heard.last), times.joint_witness(heard.first, heard.last))
        if heard.first
        else heard.first
    )
    if case.story.go_ns is None:
        found["time_from_go_s"] = NotMeasured("Nobody gave the go signal.")
    else:
        go_s = (case.story.go_ns - case.origin_ns) / 1e9
        value = times.since_go(heard.last, go_s=go_s, run_id=case.owner.run_id)
        found["time_from_go_s"] = Result(value, heard.last.witness)
    return found


def _mean_speed(case: Case, heard: Testimony) -> Answers:
    name = "speed_mean_m_per_s"
    if not heard.first or not heard.last:
        return {name: next(r for r in (heard.first, heard.last) if not r)}
    if heard.first.witness == heard.last.witness == "gate":
        pair = beam_to_beam(case, GatePair(heard.start_passage, heard.end_passage))
        if pair is not None:
            distance, time = pair
            return {name: Result(speeds.mean(distance, budget.plus(time, denied(heard.first, heard.last))), "gate")}
    assert case.first is not None and case.last is not None  # noqa: S101, PT018 - both were reached
    distance = distance_between(case.first.line, case.last.line, case.rig)
    if distance.value <= 0:
        return {name: NotMeasured("The lines are not apart in the direction of travel.")}
    value = speeds.mean(distance, times.elapsed(heard.first, heard.last))
    return {name: Result(value, times.joint_witness(heard.first, heard.last))}


def _speed_at_line(case: Case, heard: Testimony) -> Answers:
    name = "speed_at_line_m_per_s"
    if case.motion is not None and case.track is not None and case.last is not None:
        value = speeds.at_line(
            case.motion,
            case.track,
            case.last,
            owner=case.owner,
            power_cut=case.kind == "drift",
            after_s=case.since_first_s(case.from_ns),
        )
        if value:
            return {name: Result(value, "camera")}
    if not heard.last:
        return {name: heard.last}
    if case.kind == "drift":
        return {name: NotMeasured("Without pictures a drift run has no speed at the line: power is cut right there.")}
    own = None if heard.end_passage is None else passing_speed(heard.end_passage, case.owner, change=_CHANGE)
    if own is None:
        return {name: NotMeasured("Neither pictures nor a clean passage of a boat of known length tell this speed.")}
    if _stopped_in_the_beam(case, heard, own):
        return {name: NotMeasured("The time in the beam does not fit the boat: it stopped there, or a hand did it.")}
    return {name: Result(own.scaled(1e-3, "m/s"), "gate")}


def _stopped_in_the_beam(case: Case, heard: Testimony, passing: Quantity) -> bool:
    """Whether the boat passed the last beam otherwise than it came there, by the camera or by the mean of the way."""
    assert heard.last and heard.end_passage is not None  # noqa: S101, PT018 - it passed
    if case.motion is not None:
        came = float(
            np.interp(
                case.since_first_s(heard.last.t_ns(case.origin_ns)), case.motion.time_s, case.motion.speed_mm_per_s
            )
        )
        if abs(came - passing.value) > _ODD * passing.u:
            return True
    pair = beam_to_beam(case, GatePair(heard.start_passage, heard.end_passage))
    if pair is None:
        return False
    seen_mm = heard.end_passage.blocked_s * pair[0].value / pair[1].value
    return bool(doubts.of_length(heard.end_passage, seen_mm, case.owner.boat))


def _status(case: Case, heard: Testimony) -> Status:
    if case.story.status != "valid" or case.kind not in ("straight", "drift"):
        return case.story.status
    could_see = case.motion is not None or bool(case.passages)
    return "did_not_finish" if not heard.last and could_see and case.last is not None else "valid"


def _kind_flags(case: Case, answers: Answers) -> list[str]:
    if case.kind in BY_HAND and not isinstance(answers.get("weights_count"), Result):
        return [f"A {case.kind} test is entered by hand; the instrument measures nothing in it."]
    if case.kind in _OWN_COUNTS:
        what, kind = _OWN_COUNTS[case.kind]
        if any(isinstance(a, Result) and a.witness == by_hand.HAND for n, a in answers.items() if n in by_hand.MAIN):
            return []
        if kind is None or not any(zone.kind == kind for zone in case.rig.zones):
            return [f"In this kind of run {what} are counted by hand."]
    return []


def _cut_off(answers: Answers, ending: stretch.Ending) -> list[str]:
    found = answers.get("drift_mm")
    return [doubts.of_at_least(ending.reason)] if isinstance(found, Result) and found.at_least else []
