"""What gates and camera say about the first and the last line, and what follows from both.

The gate is believed if its beam broke while the bow was there (or if there is no camera to deny it) and its driver
reported no trouble of that moment, else the camera.
Where both speak and differ by more than three times their joint doubt the gate still counts, but the difference is
told and becomes part of the doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.quantity import Quantity, Source
from logger.config import Gate
from logger.results import bow, budget, doubts, gates, sources
from logger.results.case import Case
from logger.results.crossings import (
    Agreement,
    CameraDoubts,
    Clock,
    Reached,
    agreement,
    approach_mm_per_s,
    by_camera,
    u_past_mm,
)
from logger.results.lines import Ahead
from logger.results.motion import Motion
from logger.results.passages import Passage
from logger.results.trial import NotMeasured

_DISAGREE = "gate and camera disagree"
_NEAR_MM = 20.0
"""A beam that broke with the bow surely farther from it than this was broken by something else: rigging, a hand."""
_SURELY = 3.0
"""In standard uncertainties."""
_VAGUE = 2.0
"""A gate whose doubt is so many times the camera's does not speak alone."""
_UNDER_POWER = 0.1
"""By what share a boat under power changes its speed while it passes the finish beam, at most."""
_U_SEEN_SPEED = 0.02
"""Relative standard uncertainty of a speed that the camera saw over a few millimetres."""
_SLOW_BOAT_MM_PER_S = 100.0
"""Stands in for an unknown speed where only the doubt of a gate's place hangs on it."""


@dataclass(frozen=True, slots=True)
class Testimony:
    """Both lines with what was odd about them."""

    first: Reached | NotMeasured
    last: Reached | NotMeasured
    start_passage: Passage | None
    end_passage: Passage | None
    flags: tuple[str, ...]


def testimony(case: Case) -> Testimony:
    """Hear all witnesses of one run."""
    flags: list[str] = []
    seen_first = _camera(case, case.first, "start", after_ns=case.from_ns)
    after_ns = case.from_ns if not seen_first else seen_first.t_ns(case.origin_ns)
    seen_last = _camera(case, case.last, "finish or mark", after_ns=after_ns)
    pair = gates.pair(
        _there(case, case.first, flags),
        _there(case, case.last, flags),
        go_ns=case.story.go_ns,
        from_ns=case.from_ns,
        until_ns=case.story.stop_ns,
    )
    pair = _as_long_as_the_boat(case, pair)
    first = _believed(case, case.first, pair.start, seen_first, pair, flags)
    last = _believed(case, case.last, pair.end, seen_last, pair, flags)
    if first and last and last.time.value <= first.time.value:
        last = NotMeasured(f"The {last.line} line was reached before the {first.line} line.")
    flags += _early(case, first) + _again(case, pair, last)
    return Testimony(first, last, pair.start, pair.end, tuple(flags))


def _camera(case: Case, line: Ahead | None, role: str, *, after_ns: int) -> Reached | NotMeasured:
    if line is None:
        return NotMeasured(f"The rig has no {role} line.")
    if case.motion is None:
        return NotMeasured(case.why_no_motion)
    known = CameraDoubts(case.owner, case.u_camera_moment_s)
    after_s = (after_ns - int(case.motion.t_ns[0])) / 1e9
    return by_camera(case.motion, line, known, origin_ns=case.origin_ns, after_s=after_s)


def _there(case: Case, line: Ahead | None, flags: list[str]) -> Sequence[Passage]:
    """The passages of the line's gate, without those that the camera saw no boat for."""
    gate = None if line is None else case.rig.gate_at(line.line.name)
    if line is None or gate is None:
        return ()
    kept = []
    for passage in case.passages.get(gate.name, ()):
        seen = _bow_past(case, line, passage, gate) if gates.usable(passage) else None
        if seen is not None and abs(seen[0]) > _NEAR_MM + _SURELY * seen[1]:
            flags.append(doubts.of_other_than_bow(passage, seen[0], origin_ns=case.origin_ns))
        else:
            kept.append(passage)
    return kept


def _bow_past(case: Case, line: Ahead, passage: Passage, gate: Gate) -> tuple[float, float] | None:
    """How far the bow was past the beam when it broke, and the doubt of that, mm; None if the camera did not see it."""
    motion = case.motion
    if motion is None:
        return None
    at = (passage.t_ns - int(motion.t_ns[0])) / 1e9
    own = motion.time_s[motion.quality == 0]
    if not own.size or np.abs(own - at).min() > doubts.GAP_S / 2:
        return None
    front = float(bow.past_line_at_mm(motion, line, np.array([at]))[0]) - gate.offset_mm
    lasting = [float(line.normal @ moved) for moved in motion.shifted_places_at(at).values()]
    late_mm = approach_mm_per_s(motion, line, at) * case.u_camera_moment_s
    parts = [u_past_mm(motion, line, at), motion.u_outline_mm, gate.u_offset_mm, late_mm, *lasting]
    return front, float(np.linalg.norm(parts))


def _believed(
    case: Case,
    line: Ahead | None,
    passage: Passage | None,
    seen: Reached | NotMeasured,
    pair: gates.GatePair,
    flags: list[str],
) -> Reached | NotMeasured:
    gate = None if line is None else case.rig.gate_at(line.line.name)
    if line is None or gate is None:
        return seen
    if passage is None:
        if seen:
            flags.append(doubts.of_unseen(gate.name, line.line.name))
            return seen
        reason = f"Gate {gate.name} did not see the boat. {seen.reason}" if case.motion is not None else (
            f"Gate {gate.name} did not see the boat."
        )  # fmt: skip
        return NotMeasured(reason)
    if seen and any(trouble.concerns(gate.name, passage.t_ns) for trouble in case.troubles):
        flags.append(doubts.of_trouble(gate.name, line.line.name))
        return seen
    flags += _of_length(case, line, passage, pair)
    if (lead := _seen_lead(case, line, passage, gate)) is not None:
        time = gates.stamp(passage, gate, case.gates_clock) - lead
    else:
        speed = _speed_at_gate(case, line, passage, pair)
        time = gates.at_line(passage, gate, case.gates_clock, speed=speed)
    said = Reached(line.line.name, time, "gate")
    if not seen:
        return said
    there = _bow_past(case, line, passage, gate)
    return _confronted(case, said, seen, flags, is_bow=there is None or abs(there[0]) <= _SURELY * there[1])


def _confronted(case: Case, gate: Reached, camera: Reached, flags: list[str], *, is_bow: bool) -> Reached:
    """What both say together.

    Where they agree the gate counts: its errors are the rig's, so they cancel when boats are compared, and the camera's
    are not. Only a gate that knows much less than the camera is met half-way, by the weights of least doubt (GUM 5.2.2,
    whatever they share counted once). Where they cannot both be right the difference is further doubt; but a beam that
    something else than the bow broke while the boat hardly moved says nothing of the bow.
    """
    found: Agreement = agreement(gate, camera)
    vague = gate.time.u > _VAGUE * camera.time.u
    if vague and not is_bow:
        flags.append(doubts.of_standing(gate.line))
        return camera
    flags += doubts.of_agreement(found)
    if found.holds:
        return _together(gate, camera) if vague else gate
    differ = sources.of_run(_DISAGREE, case.owner.run_id)
    return Reached(gate.line, budget.plus(gate.time, {differ: abs(found.difference_s) / 3**0.5}), "gate")


def _together(gate: Reached, camera: Reached) -> Reached:
    apart = gate.time - camera.time
    shared = (gate.time.u**2 + camera.time.u**2 - apart.u**2) / 2
    weight = float(np.clip((camera.time.u**2 - shared) / apart.u**2, 0.0, 1.0))
    value = weight * gate.time.value + (1 - weight) * camera.time.value
    time = Quantity.linear(value, "s", [(weight, gate.time), (1 - weight, camera.time)])
    return Reached(gate.line, time, "gate+camera")


def denied(*reached: Reached) -> dict[Source, float]:
    """What is in doubt of these moments because gate and camera cannot both be right."""
    return {
        source: part for one in reached for source, part in one.time.contributions.items() if source.name == _DISAGREE
    }


def _seen_lead(case: Case, line: Ahead, passage: Passage, gate: Gate) -> Quantity | None:
    """From the bow at the line to the bow in the beam, s, on the way that the camera saw; None if it did not.

    A boat that gathers way was slower at the line than in the beam, or the other way round: offset over speed would be
    2 ms wrong a few centimetres after the start. Only this short way is taken from the camera, not where it lies.
    """
    motion = case.motion
    if motion is None or _seen_speed(motion, line, case.since_first_s(passage.t_ns)) is None:
        return None
    broken_s = case.since_first_s(passage.t_ns)
    lead_s = -Clock.at(motion, line, broken_s).later_s(-gate.offset_mm)
    if not np.isfinite(lead_s):
        return None
    parts = {
        Source(f"gate {gate.name} place"): Clock.at(motion, line, broken_s - lead_s).seconds(gate.u_offset_mm),
        sources.of_run("speed at the beam", case.owner.run_id): _U_SEEN_SPEED * lead_s,
    }
    return Quantity(lead_s, "s", parts)


def _speed_at_gate(case: Case, line: Ahead, passage: Passage, pair: gates.GatePair) -> Quantity:
    """How fast the bow met the beam, mm/s: seen by the camera, else boat length over blocked time, else gate to gate.

    The last two are means over a stretch in which the boat may have gathered or lost speed.
    """
    motion = case.motion
    if motion is not None and (speed := _seen_speed(motion, line, case.since_first_s(passage.t_ns))) is not None:
        return Quantity(speed, "mm/s", {sources.of_run("speed at the beam", case.owner.run_id): _U_SEEN_SPEED * speed})
    if (own := _passing(case, line, passage)) is not None:
        return own
    between = beam_to_beam(case, pair)
    mean = _SLOW_BOAT_MM_PER_S if between is None else between[0].value / between[1].value
    return Quantity(mean, "mm/s", {sources.of_run("speed at the beam", case.owner.run_id): 0.5 * mean})


def _passing(case: Case, line: Ahead, passage: Passage) -> Quantity | None:
    if line is case.first:
        go_ns = case.story.go_ns
        since_go_s = None if go_ns is None or go_ns > passage.t_ns else (passage.t_ns - go_ns) / 1e9
        return gates.speed_at_first(passage, case.owner, since_go_s=since_go_s)
    if case.kind == "drift":
        return gates.speed_at_cut(passage, case.owner)
    return gates.passing_speed(passage, case.owner, change=_UNDER_POWER)


def _seen_speed(motion: Motion, line: Ahead, at_s: float) -> float | None:
    if not 0 < at_s < motion.time_s[-1]:
        return None
    speed = approach_mm_per_s(motion, line, at_s)
    return speed if speed > 1.0 else None


def _as_long_as_the_boat(case: Case, pair: gates.GatePair) -> gates.GatePair:
    """Where no camera tells a boat from a hand, and the first break is none of a boat's: the only later one that is."""
    if case.motion is not None or case.first is None or pair.start is None or pair.end is None:
        return pair
    if not _of_length(case, case.first, pair.start, pair):
        return pair
    others = [
        replace(pair, start=passage, before_count=number)
        for number, passage in enumerate(_broken(case, pair.start, pair.end.t_ns)[1:], 1)
        if passage.cleared_ns is not None and not passage.doubts
    ]
    long_enough = [one for one in others if one.start and not _of_length(case, case.first, one.start, one)]
    return long_enough[0] if len(long_enough) == 1 else pair


def _broken(case: Case, start: Passage, until_ns: int) -> list[Passage]:
    """The usable breaks of a start gate from the one that counts on, until the end."""
    return [p for p in case.passages[start.gate] if gates.usable(p) and start.t_ns <= p.t_ns < until_ns]


def _of_length(case: Case, line: Ahead, passage: Passage, pair: gates.GatePair) -> list[str]:
    """How much boat went through: the way that the camera saw meanwhile, else blocked time times the mean speed."""
    if passage.cleared_ns is None:
        return []
    motion = case.motion
    if motion is not None:
        moments = np.array([case.since_first_s(passage.t_ns), case.since_first_s(passage.cleared_ns)])
        if moments[0] > 0 and moments[1] < motion.time_s[-1]:
            seen_mm = float(np.diff(bow.past_line_at_mm(motion, line, moments))[0])
            return doubts.of_length(passage, seen_mm, case.owner.boat)
    between = None if case.kind == "drift" else beam_to_beam(case, pair)
    if between is None:
        return []
    over_mm, took_s = between[0].value, between[1].value
    from_rest_mm = over_mm if line is case.first else 0.0
    return doubts.of_length(
        passage, passage.blocked_s * over_mm / took_s, case.owner.boat, from_rest_over_mm=from_rest_mm
    )


def beam_to_beam(case: Case, pair: gates.GatePair) -> tuple[Quantity, Quantity] | None:
    """Distance in mm and time in s from the first beam to the last; None if not both saw the boat."""
    if case.first is None or case.last is None or pair.start is None or pair.end is None:
        return None
    first, last = case.rig.gate_at(case.first.line.name), case.rig.gate_at(case.last.line.name)
    if first is None or last is None:
        return None
    distance = gates.beam_distance((first, case.first.line), (last, case.last.line), case.rig)
    begun = gates.stamp(pair.start, first, case.gates_clock)
    ended = gates.stamp(pair.end, last, case.gates_clock)
    return (distance, ended - begun) if distance.value > 0 else None


def _early(case: Case, first: Reached | NotMeasured) -> list[str]:
    if not first or case.story.go_ns is None:
        return []
    gap_s = (case.story.go_ns - case.origin_ns) / 1e9 - first.time.value
    return [doubts.of_early_start(gap_s)] if gap_s > 3 * first.time.u else []


def _again(case: Case, pair: gates.GatePair, last: Reached | NotMeasured) -> list[str]:
    """The start gate broken more than once before the end."""
    if pair.start is None:
        return []
    until_ns = case.ends_ns if not last else last.t_ns(case.origin_ns)
    count = pair.before_count + len(_broken(case, pair.start, until_ns))
    return [doubts.of_second_start(pair.start.gate, count, before_count=pair.before_count)] if count > 1 else []
