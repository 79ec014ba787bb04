"""The camera's delay by a blinking light: which devices, blink and watch, work out, tell, what to enter."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from calibration.errors import CalibrationError
from calibration.light import LightSync, measure_delay
from calibration.light_patch import Region
from calibration.quantity import plus_minus
from logger import __version__
from logger.config import CameraSetup, DriverChoice, Rig
from logger.drivers import open_driver
from logger.errors import InputError
from logger.recording.light_evidence import LightEvidence, LightNotes, new_evidence_folder, write_light
from logger.recording.rig_toml import read_rig
from logger.station.lightsync import Watched, watch

_SURE_K = 1.96  # a rig file's standard uncertainty has no degrees of freedom: 95 % must stay 95 %


@dataclass(frozen=True, slots=True, eq=False)
class Blinked:
    """A session that was watched and kept."""

    folder: Path
    evidence: LightEvidence
    faults: tuple[str, ...]
    """What the camera had to say against itself."""


def choices(rig: Rig, path: Path) -> tuple[CameraSetup, DriverChoice, DriverChoice]:
    """Camera and light of the rig. InputError with all that is missing."""
    mistakes = []
    if rig.camera is None or rig.camera.driver is None:
        mistakes.append("there is no [camera.driver]; wanted the camera that is to be measured")
    if rig.light_driver is None:
        mistakes.append("there is no [light_driver]; wanted the light that the camera sees")
    if rig.camera is None or rig.camera.driver is None or rig.light_driver is None:
        raise InputError(f"{path}: {' | '.join(mistakes)}; add it to the rig file")
    return rig.camera, rig.camera.driver, rig.light_driver


def watched(
    rig_file: Path,
    below: Path,
    *,
    length_s: float,
    region: Region | None = None,
    at: datetime,
    told: Callable[[str], None] = lambda _: None,
) -> Blinked:
    """Blink with the rig's own light, watch with its own camera, and keep what was seen below `below`.

    Raises:
        InputError: the rig lacks one of the two, or the light is not to be seen.
        DriverError: a device does not do what it should. In both cases nothing is kept.
    """
    rig = read_rig(rig_file)
    setup, camera, light = choices(rig, rig_file)
    folder = new_evidence_folder(below, at)
    try:
        seen = _session(setup, camera, light, rig_file, length_s=length_s, region=region, told=told)
    except BaseException:
        folder.rmdir()  # nothing was seen, so there is nothing to keep
        raise
    notes = LightNotes(
        made_at=at.isoformat(timespec="seconds"),
        row_px=seen.glimpses.row_px,
        u_row_px=seen.glimpses.u_row_px,
        rig=rig.name,
        camera=camera.kind,
        light=light.kind,
        software=f"boatrun {__version__}",
        simulated=rig.simulated or camera.is_simulated or light.is_simulated,
    )
    evidence = LightEvidence(notes, seen.switches, seen.glimpses)
    write_light(folder, evidence)
    return Blinked(folder, evidence, seen.faults)


def _session(
    setup: CameraSetup, camera: DriverChoice, light: DriverChoice, rig_file: Path, *, length_s: float,
    region: Region | None, told: Callable[[str], None],
) -> Watched:  # fmt: skip
    eye = open_driver(camera.kind, camera.options, name="camera", place=str(rig_file))
    lamp = open_driver(light.kind, light.options, name="light", place=str(rig_file))
    _check_kinds(eye, lamp, camera, light, str(rig_file))
    try:
        with eye, lamp:
            return watch(
                eye,
                lamp,
                length_s=length_s,
                region=region,
                exposure_ns=setup.exposure_ns,
                line_ns=setup.line_ns,
                rng=np.random.default_rng(),
                told=told,
            )
    except CalibrationError as error:
        raise InputError(str(error)) from error


def _check_kinds(eye: object, lamp: object, camera: DriverChoice, light: DriverChoice, place: str) -> None:
    if not hasattr(eye, "records"):
        raise InputError(f'{place}: camera.driver: "{camera.kind}" sends no pictures; wanted a camera; change its kind')
    if not hasattr(lamp, "switch"):
        raise InputError(f'{place}: light_driver: "{light.kind}" cannot be switched; wanted a light; change its kind')


def worked_out(folder: Path, evidence: LightEvidence) -> LightSync:
    """The delay out of what was kept in `folder`. InputError: it says nothing about it."""
    try:
        return measure_delay(evidence.switches, evidence.glimpses, place=str(folder))
    except CalibrationError as error:
        raise InputError(str(error)) from error


def told(sync: LightSync) -> str:
    """The result for a person: the delay first, then what it rests on, then what to know."""
    delay, exposure = sync.delay, sync.exposure
    said = f"the camera says {1e3 * sync.claimed_exposure_s:.2f} ms" if sync.claimed_exposure_s else "not said by it"
    parts = sorted(delay.contributions.items(), key=lambda item: -abs(item[1]))
    lines = [
        f"camera delay {plus_minus(1e3 * delay.value, 1e3 * delay.U)} ms (95 %, k = {delay.k:.2f})",
        f"  exposure seen {plus_minus(1e3 * exposure.value, 1e3 * exposure.U)} ms, {said}",
        f"  a single stamp scatters by about {1e3 * sync.jitter_s:.2f} ms",
        f"  {sync.switches_count} switches, {sync.under_way_count} pictures caught one under way",
        f"  fit: reduced chi-squared {sync.chi_square:.2f}, {100 * sync.stray_share:.1f} % of pictures do not fit",
        "  doubt (standard uncertainty in ms): "
        + ", ".join(f"{source.name} {1e3 * abs(part):.2g}" for source, part in parts),
    ]
    return "\n".join([*lines, *(f"  note: {doubt}" for doubt in sync.doubts)])


def entries_of(sync: LightSync) -> Mapping[str, float]:
    """What entering it changes in the rig file: dotted name -> value."""
    u_s = max(sync.delay.u, sync.delay.U / _SURE_K)
    return {"camera.delay_s": round(sync.delay.value, 7), "camera.u_delay_s": float(f"{u_s:.2g}")}
