"""Whether what the rig file and the calibration say is enough for a run, and how good it is. Nothing is opened here.

Limits on the doubt of places: 5 mm at worst is what a set-up should reach and 10 mm what a class needs; beyond 25 mm
a boat's length is the better ruler (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np

from calibration.files import CameraCalibration
from calibration.lens import Floats
from calibration.lines import agreement
from calibration.plane_worth import all_within_mm, u_places_mm
from calibration.quantity import Quantity, Source
from calibration.waterplane import View
from logger.checkup.picture_changes import LEVEL, RULER_U_MM, level_told
from logger.config import Line, Rig
from logger.drivers.interface import Finding, Health
from logger.results.lines import distance_between

WELL_MM, LEAST_WELL_MM = 5.0, 25.0
OLD_DAYS = 90
APART_SHARE = 0.01
_PLACES_COUNT = 5
"""Places looked at along each line, its ends among them."""


def rig_findings(rig: Rig) -> Iterator[Finding]:
    """Whether the rig has what runs need."""
    yield from _senses(rig)
    yield from _pretence(rig)
    yield from _kinds(rig)
    yield from _witnesses(rig)
    yield from _gate_distance(rig)
    yield from _delay(rig)


def _senses(rig: Rig) -> Iterator[Finding]:
    part = "rig file"
    if not rig.gates and rig.camera is None:
        cure = "write [[gates]] with a [gates_driver], or a [camera], into the rig file"
        yield Finding(part, "wrong", "it names neither gates nor a camera: nothing to measure with", cure)
    if rig.gates and rig.gates_driver is None:
        cure = "write a table [gates_driver] with its kind"
        yield Finding(part, "wrong", "it names gates, but nothing that reads them", cure)
    if rig.gates_driver is not None and not rig.gates:
        cure = "write [[gates]] with name and line for each beam"
        yield Finding(part, "doubtful", "it names a driver for gates, but no gates: their edges would not count", cure)
    if rig.camera is not None and rig.camera.driver is None:
        cure = "write a table [camera.driver] with its kind"
        yield Finding(part, "wrong", "it names a camera, but nothing that takes its pictures", cure)


def _pretence(rig: Rig) -> Iterator[Finding]:
    camera = rig.camera.driver if rig.camera is not None else None
    chosen = (rig.gates_driver, camera, rig.panel_driver, rig.light_driver, rig.scale_driver)
    made_up = sorted({choice.kind for choice in chosen if choice is not None and choice.is_simulated})
    if made_up and not rig.simulated:
        cure = "write simulated = true into the rig file, or name the drivers of real devices"
        yield Finding("rig file", "wrong", f"{', '.join(made_up)}: results would look as if they were real", cure)
    elif rig.simulated:
        yield Finding("rig file", "well", "simulated: no real water, and every result says so")


def _kinds(rig: Rig) -> Iterator[Finding]:
    roles = {line.role for line in rig.lines}
    able = [
        kind for kind, needed in (("straight", {"start", "finish"}), ("drift", {"start", "mark"})) if needed <= roles
    ]
    names = ", ".join(f"{line.name} ({line.role})" for line in rig.lines) or "none"
    if not able:
        cure = "write [[lines]] with the roles start and finish (straight runs) or start and mark (drift runs)"
        yield Finding("lines", "wrong", f"{names}: too few for any kind of run", cure)
    else:
        yield Finding("lines", "well", f"{names}: {' and '.join(able)} runs")


def _witnesses(rig: Rig) -> Iterator[Finding]:
    bare = [line.name for line in rig.lines if rig.gate_at(line.name) is None]
    if not bare or rig.camera is not None:
        return
    if len(bare) == len(rig.lines) and not rig.gates:
        return  # said already: nothing to measure with
    cure = "write a gate for each of them, or a camera"
    yield Finding("lines", "wrong", f"{', '.join(bare)}: there is no gate at it and no camera that sees it", cure)


def _gate_distance(rig: Rig) -> Iterator[Finding]:
    start, finish = rig.line("start"), rig.line("finish")
    if rig.gate_distance_mm is None or start is None or finish is None:
        return
    gates = rig.gate_at(start.name), rig.gate_at(finish.name)
    if gates[0] is None or gates[1] is None:
        return
    offsets = {Source(f"gate {g.name} place"): sign * g.u_offset_mm for g, sign in ((gates[0], -1), (gates[1], 1))}
    drawn = distance_between(start, finish, rig) + Quantity(gates[1].offset_mm - gates[0].offset_mm, "mm", offsets)
    taped = Quantity.of(rig.gate_distance_mm, "mm", u=rig.u_gate_distance_mm, source="tape")
    apart_mm = drawn.value - taped.value
    found = f"measured {taped.value:.0f} mm, by the lines {drawn.value:.0f} mm"
    if abs(apart_mm) <= APART_SHARE * taped.value or (drawn - taped).u == 0 or agreement(drawn, taped).agrees:
        yield Finding("gate distance", "well", found)
    else:
        cure = "measure again from beam to beam, and correct gate_distance_mm, the lines, or the gates' offset_mm"
        yield Finding("gate distance", "doubtful", f"{found}: {abs(apart_mm) / taped.value:.1%} apart", cure)


def _delay(rig: Rig) -> Iterator[Finding]:
    if rig.camera is None:
        return
    camera, part = rig.camera, "camera delay"
    if camera.delay_s == 0 and camera.u_delay_s == 0:
        found = "not known: how late its stamps are was never measured"
        yield Finding(part, "doubtful", found, "do: boatrun calibrate light, with a light in the picture")
    else:
        found = f"stamps are {1000 * camera.delay_s:.1f} ms late, ± {2000 * camera.u_delay_s:.1f} ms (95 %)"
        yield Finding(part, "well", found)


def calibration_findings(
    calibration: CameraCalibration, rig: Rig, *, today: date | None, device: str = "", depth_mm: float | None = None
) -> Iterator[Finding]:
    """Whether the calibration is one of this camera, how old it is, and how well it knows the lines' places.

    Args:
        calibration: As read.
        rig: Where the lines are.
        today: The date; None where the clock cannot be believed.
        device: What the camera's driver was told to open, if it says so.
        depth_mm: What a ruler in the water shows now, if somebody read one.
    """
    made_of = calibration.evidence.get("device", "")
    if device and made_of and device != made_of:
        cure = "name that camera in the rig file, or calibrate this one"
        yield Finding("calibration", "wrong", f"it was made of {made_of}, the rig has {device}", cure)
    yield _age(calibration, today)
    if rig.lines:
        yield from _sight(calibration.view, rig.lines)
        yield _doubt(calibration.view, rig.lines)
    yield from _depth(calibration, rig, depth_mm)


def _age(calibration: CameraCalibration, today: date | None) -> Finding:
    part, named = "calibration", f'"{calibration.id}"'
    try:
        made = date.fromisoformat(calibration.date[:10])
    except ValueError:
        said = f'its date is "{calibration.date}"' if calibration.date else "it has no date"
        return Finding(part, "doubtful", f"{named}: {said}", "calibrate again if nobody knows how old it is")
    days = None if today is None else (today - made).days
    if days is None:
        return Finding(part, "well", f"{named}, made {made}")
    if days < 0:
        cure = "set the computer's date, or correct the calibration's"
        return Finding(part, "doubtful", f"{named}, made {made}, which is still to come", cure)
    found = f"{named}, made {made}, {days} day{'' if days == 1 else 's'} ago"
    if days <= OLD_DAYS:
        return Finding(part, "well", found)
    return Finding(part, "doubtful", found, "calibrate the plane again, or compare it with a tape")


def places_mm(lines: Sequence[Line]) -> Floats:
    """Places (N, 2) along the lines, ends and middles among them."""
    shares = np.linspace(0, 1, _PLACES_COUNT)[:, None]
    return np.concatenate([np.add(line.a_mm, shares * np.subtract(line.b_mm, line.a_mm)) for line in lines])


def calibrated_depth_mm(calibration: CameraCalibration) -> float | None:
    """How deep the water was when the plane was calibrated; None where the file does not say."""
    found = calibration.evidence.get("water_depth_mm")
    return float(found) if isinstance(found, int | float) and found > 0 else None


def _depth(calibration: CameraCalibration, rig: Rig, read_mm: float | None) -> Iterator[Finding]:
    """Whether the water stands where it stood, by a ruler or by the rig file."""
    then_mm = calibrated_depth_mm(calibration)
    if then_mm is None:
        if read_mm is not None:
            found = "the calibration does not say how deep the water was, so a depth tells nothing"
            yield Finding(LEVEL, "doubtful", found, "calibrate the plane by the floor, with --depth-mm")
        return
    stated = calibration.evidence.get("u_water_depth_mm", 0.0)
    u_then_mm = float(stated) if isinstance(stated, int | float) else 0.0
    now_mm = rig.tank.water_depth_mm if read_mm is None else read_mm
    u_mm = math.hypot(u_then_mm, rig.tank.u_water_depth_mm if read_mm is None else RULER_U_MM)
    if read_mm is None and abs(now_mm - then_mm) <= 2 * u_mm:
        return  # the rig file repeats what the calibration says
    places = places_mm(rig.lines) if rig.lines else np.array(rig.tank.outline_mm)
    told_by = "by the rig file" if read_mm is None else "by the ruler"
    yield level_told(
        calibration.view, now_mm - then_mm, u_mm, places_mm=places, allowed_mm=WELL_MM / 2, told_by=told_by
    )


def _sight(view: View, lines: Sequence[Line]) -> Iterator[Finding]:
    cure = "turn or lift the camera until it sees the whole line, then calibrate the plane again"
    for line in lines:
        pixels = view.to_pixels(np.column_stack([places_mm([line]), np.zeros(_PLACES_COUNT)]))
        u, v = pixels.T
        inside = (u >= 0) & (v >= 0) & (u <= view.lens.width_px - 1) & (v <= view.lens.height_px - 1)
        if not inside[_PLACES_COUNT // 2]:
            yield Finding("calibration", "wrong", f"the camera does not see the {line.name} line's middle", cure)
        elif not inside.all():
            yield Finding("calibration", "doubtful", f"the camera does not see all of the {line.name} line", cure)


def _doubt(view: View, lines: Sequence[Line]) -> Finding:
    part = "calibration"
    if not view.variations:
        cure = "calibrate with boards or marks, or state the doubts (u_tilt_deg, u_camera_height_mm ...)"
        return Finding(part, "doubtful", "it does not say how well it is known, so results seem too sure", cure)
    worst_mm = all_within_mm(view, places_mm(lines))
    u = u_places_mm(view, places_mm(lines)).reshape(len(lines), -1)
    line = lines[int(u.max(1).argmax())]
    found = f"places on the lines are good to ± {worst_mm:.1f} mm (95 %), worst on the {line.name} line"
    health: Health = "well" if worst_mm <= WELL_MM else "doubtful" if worst_mm <= LEAST_WELL_MM else "wrong"
    cure = "" if health == "well" else "calibrate the plane again, with marks all round the water"
    return Finding(part, health, found, cure)
