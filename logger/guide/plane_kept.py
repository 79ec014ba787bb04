"""Around a calibration of the water plane: the lens that it starts from, and keeping and entering what came out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from calibration.errors import CalibrationError
from calibration.files import CameraCalibration, load_calibration
from calibration.lens import Floats, Lens
from calibration.lens_known import known_lens, states_doubt
from logger.config import Rig
from logger.errors import InputError
from logger.guide.plane_words import evidence_of
from logger.recording.plane_evidence import CAMERA_NAME, write_plane
from logger.recording.rig_toml import edit_rig
from logger.station.plane_session import PlaneResult


def lens_for(rig: Rig, rig_file: Path, lens_file: Path | None) -> tuple[Lens, Floats]:
    """The lens of `lens_file`, or of the calibration in use, with its (9, 9) covariance.

    Raises:
        InputError: there is none, or it does not say how well it is known.
    """
    path = lens_file
    if path is None:
        if rig.camera is None:
            raise InputError(f"{rig_file}: there is no [camera]; wanted one, or the lens's file with --lens")
        path = rig_file.parent / rig.camera.calibration
        if not path.exists():
            raise InputError(
                f"{path}: there is no such calibration yet; wanted the lens's file; do boatrun calibrate lens, then "
                "give its file with --lens"
            )
    try:
        lens, covariance = known_lens(path)
        states_doubt(covariance, place=str(path))
    except CalibrationError as error:
        raise InputError(str(error)) from error
    return lens, covariance


def in_use(rig: Rig, rig_file: Path) -> CameraCalibration | None:
    """The calibration that the rig uses so far; None if there is none that can be read."""
    if rig.camera is None:
        return None
    try:
        return load_calibration(rig_file.parent / rig.camera.calibration)
    except CalibrationError:
        return None


def kept(result: PlaneResult, below: Path, *, at: datetime, lens_file: str) -> Path:
    """Write all of it into a new, dated folder below `below`; the folder. StoreError if it cannot be written."""
    return write_plane(below, evidence_of(result, result.wish.rig, at, lens_file=lens_file), at)


def entries_of(folder: Path, rig_file: Path) -> Mapping[str, object]:
    """What using the calibration kept in `folder` changes in the rig file: dotted name -> value.

    Raises:
        InputError: there is no calibration in it.
    """
    try:
        evidence = load_calibration(folder / CAMERA_NAME).evidence
    except CalibrationError as error:
        raise InputError(str(error)) from error
    rig_folder, camera = rig_file.absolute().parent, (folder / CAMERA_NAME).absolute()
    named = camera.relative_to(rig_folder).as_posix() if camera.is_relative_to(rig_folder) else str(camera)
    entries: dict[str, object] = {"camera.calibration": named}
    depth, u_depth = evidence.get("water_depth_mm"), evidence.get("u_water_depth_mm")
    if isinstance(depth, float | int) and isinstance(u_depth, float | int):
        entries["tank.water_depth_mm"] = round(float(depth), 1)
        entries["tank.u_water_depth_mm"] = float(f"{max(u_depth, 0.1):.2g}")
    return entries


def entered(folder: Path, rig_file: Path) -> Mapping[str, object]:
    """Have the rig use the calibration kept in `folder`; what was entered. InputError, ConfigError, StoreError."""
    entries = entries_of(folder, rig_file)
    edit_rig(rig_file, entries)
    return entries
