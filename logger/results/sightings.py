"""Recordings of a check boat -> sightings of its bow at the moments at which beams broke.

At each usable passage the smoothed motion says where the foremost point of the waterline was, in the direction in
which the boat was going, and with what doubt: its own (noise of the positions, stamp) and what it shares with others
(outline, freeboard, calibration, the camera's delay, clocks of the run).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.beams import Sighting
from calibration.quantity import Source
from logger.config import CameraSetup, Gate, Rig
from logger.results import bow, doubts, gates, sources
from logger.results.case import Case
from logger.results.crossings import u_past_mm
from logger.results.lines import Ahead, ahead
from logger.results.motion import VX, VY, Motion
from logger.results.passages import Passage
from logger.vision.track import MEASURED

FARTHEST_MM = 150.0
"""A beam that broke with the bow farther from its line than this was broken by something else, or is another beam."""
SLOWEST_MM_PER_S = 20.0
STEM_MM = 1.0
"""A beam some way above the water meets the stem of a check boat within ± this of its waterline bow (common practice,
no source: the check boat's stem is to be upright)."""
UNMEASURED_DELAY_S = 0.05
"""Standard uncertainty of a camera delay that nobody ever measured: a picture or two (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Sighted:
    """What one recording, or several, gave."""

    sightings: tuple[Sighting, ...]
    notes: tuple[str, ...] = ()
    """What could not be used, and why; in sentences."""
    elsewhere: tuple[tuple[str, str], ...] = ()
    """(gate, line): the beam of that gate broke while the bow was at another gate's line."""


def u_delay_s(camera: CameraSetup | None) -> float:
    """How well the rig knows its camera's delay; a delay without any doubt was never measured."""
    if camera is None:
        return 0.0
    if camera.u_delay_s > 0:
        return camera.u_delay_s
    return UNMEASURED_DELAY_S


def sighted(case: Case, label: str) -> Sighted:
    """Every sighting of one recording; `label` names it in words."""
    if case.motion is None:
        return Sighted((), (f"{label}: {case.why_no_motion}",))
    found: list[Sighting] = []
    notes: list[str] = []
    elsewhere: list[tuple[str, str]] = []
    for gate in case.rig.gates:
        line = _line(case.rig, gate.line)
        usable = [p for p in case.passages.get(gate.name, ()) if gates.usable(p)]
        here = [one for p in usable if (one := _one(case, gate, line, p, label)) is not None]
        near = [one for one in here if abs(one.past_mm) <= FARTHEST_MM]
        found += [one for one in near if abs(one.speed_mm_per_s) >= SLOWEST_MM_PER_S]
        told = _told(gate, label, seen=here, near=near) if here else _unseen(case, gate, label, usable)
        notes += told if told not in ([note] for note in notes) else []
        if not near:
            elsewhere += [(gate.name, other) for p in usable if (other := _other_line(case, gate, p)) is not None]
    return Sighted(tuple(found), tuple(notes), tuple(elsewhere))


def _line(rig: Rig, name: str) -> Ahead:
    return ahead(next(line for line in rig.lines if line.name == name), rig)


def _unseen(case: Case, gate: Gate, label: str, usable: Sequence[Passage]) -> list[str]:
    """Why there is no sighting of a gate at all."""
    if not usable:
        return [f"{label}: gate {gate.name} was not broken by anything like a boat"]
    if case.track is not None and case.motion is not None and (case.motion.quality != MEASURED).all():
        why = "; ".join(case.track.flags) or "its places are marked doubtful throughout"
        return [f"{label}: the camera's word is too doubtful to measure gates with ({why})"]
    return [f"{label}: the camera did not surely see the boat when gate {gate.name} broke"]


def _told(gate: Gate, label: str, *, seen: Sequence[Sighting], near: Sequence[Sighting]) -> list[str]:
    if not near:
        off = min((one.past_mm for one in seen), key=abs)
        return [f"{label}: gate {gate.name} broke while the bow was {off:.0f} mm past its line; not used"]
    slow = sum(abs(one.speed_mm_per_s) < SLOWEST_MM_PER_S for one in near)
    return [f"{label}: the boat nearly stood in gate {gate.name}; not used"] if slow else []


def _one(case: Case, gate: Gate, line: Ahead, passage: Passage, label: str) -> Sighting | None:
    """The bow at the moment at which the beam broke; None if the camera did not see it then."""
    motion = case.motion
    at_s = case.since_first_s(passage.t_ns)
    if motion is None or not _is_seen(motion, at_s):
        return None
    velocity = motion.states_at(np.array([at_s]))[0, [VX, VY]]
    speed = float(velocity @ line.normal)
    way = 1.0 if speed >= 0 else -1.0
    going = Ahead(line.line, line.middle_mm, way * line.normal)
    past = way * float(bow.past_line_at_mm(motion, going, np.array([at_s]))[0])
    own = math.hypot(u_past_mm(motion, going, at_s), speed * gate.u_stamp_s)
    return Sighting(
        gate.name, label, past, own, _parts(case, motion, line, at_s, speed), speed,
        float(line.along_mm(motion.states_at(np.array([at_s]))[0, [0, 3]])),
    )  # fmt: skip


def _parts(case: Case, motion: Motion, line: Ahead, at_s: float, speed: float) -> dict[Source, float]:
    way = 1.0 if speed >= 0 else -1.0
    boat, run = case.owner.boat, case.owner.run_id
    parts: dict[Source, float] = {
        sources.of_boat("boat outline", boat): way * motion.u_outline_mm,
        sources.of_boat("stem of the boat in the beam", boat): way * STEM_MM / math.sqrt(3),
        Source("camera delay"): speed * u_delay_s(case.rig.camera),
        sources.of_run("clock of the gates", run): -speed * case.u_gates_clock_s,
        sources.of_run("clock of the camera", run): speed * case.u_camera_clock_s,
    }
    for name, moved in motion.shifted_places_at(at_s).items():
        parts[sources.of_track(name, boat)] = float(line.normal @ moved)
    return {source: part for source, part in parts.items() if part}


def _is_seen(motion: Motion, at_s: float) -> bool:
    own = motion.time_s[motion.quality == MEASURED]
    return bool(0 < at_s < motion.time_s[-1] and own.size and np.abs(own - at_s).min() <= doubts.GAP_S / 2)


def _other_line(case: Case, gate: Gate, passage: Passage) -> str | None:
    """Name of the line of another gate at which the bow was then."""
    motion, at_s = case.motion, case.since_first_s(passage.t_ns)
    if motion is None or not _is_seen(motion, at_s):
        return None
    for other in case.rig.gates:
        if other.line == gate.line:
            continue
        line = _line(case.rig, other.line)
        if abs(float(bow.past_line_at_mm(motion, line, np.array([at_s]))[0])) <= FARTHEST_MM:
            return other.line
    return None
