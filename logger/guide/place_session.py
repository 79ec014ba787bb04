"""From given lines, beams and zones to what the rig file says of them: work out, draw, keep, enter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.files import load_view
from calibration.plane import POINTED_U_PX
from calibration.quantity import Quantity
from calibration.readings import Reading, taped_distance
from calibration.rim_marks import find_rim_marks
from calibration.waterplane import View
from logger import settings
from logger.checkup.placed import TYPED_U_MM, Known, Placements, placed
from logger.config import Rig
from logger.errors import InputError, StoreError
from logger.guide import line_words
from logger.recording.light_evidence import new_evidence_folder
from logger.recording.place_list import GivenPlace
from logger.recording.rig_change import Change, change_rig
from logger.recording.stills import Still
from logger.study.places_seen import places_map, places_seen


@dataclass(frozen=True, slots=True, eq=False)
class PlaceWish:
    """All that was given."""

    rig: Rig
    view: View | None
    """The calibrated camera; None: only typed places can be told."""
    given: Sequence[GivenPlace] = ()
    picture: Still | None = None
    taped: Quantity | None = None
    """From the first beam to the last, mm."""
    u_mm: float = TYPED_U_MM
    u_px: float = POINTED_U_PX


@dataclass(frozen=True, slots=True, eq=False)
class PlacesMade:
    """What came of it."""

    wish: PlaceWish
    placements: Placements
    now: Rig
    """The rig with the places in it."""

    def told(self) -> str:
        """In words."""
        return line_words.told(self.placements, self.now, self.wish.taped)

    def plan(self) -> str:
        """A plan of the tank, SVG."""
        return places_map(self.now, beams=self.placements.beams or {})

    def seen(self) -> NDArray[np.uint8] | None:
        """(H, W, 3) the picture with the places in it; None without a picture or a calibrated camera."""
        picture, view = self.wish.picture, self.wish.view
        if picture is None or view is None:
            return None
        spots = self.placements.spots
        return places_seen(
            picture.grey, view, self.now, beams=self.placements.beams or {}, pointed_px=[s.pixel for s in spots],
            placed_mm=[s.place_mm for s in spots],
        )  # fmt: skip


def view_of(rig: Rig, rig_file: Path) -> View | None:
    """The rig's calibrated camera; None if it is not calibrated yet. InputError: its file is wrong."""
    if rig.camera is None:
        return None
    file = rig_file.parent / rig.camera.calibration
    if not file.exists():
        return None
    try:
        return load_view(file)
    except CalibrationError as error:
        raise InputError(str(error)) from error


def check_size(picture: Still, view: View | None, *, place: str) -> None:
    """InputError unless the picture has the size that the camera was calibrated for."""
    height, width = picture.grey.shape
    if view is not None and (width, height) != (view.lens.width_px, view.lens.height_px):
        raise InputError(
            f"{place}: found {width} x {height} pixels; the calibration is for {view.lens.width_px} x "
            f"{view.lens.height_px}; take a picture of that size with the rig's camera"
        )


def taped_of(readings: Sequence[Reading], *, place: str) -> Quantity | None:
    """The way from beam to beam out of one tape reading or several; None without any. InputError: they disagree."""
    if not readings:
        return None
    try:
        return taped_distance(list(readings))
    except ValueError as error:
        raise InputError(f"{place}: {error}") from error


def work_out(wish: PlaceWish, *, place: str) -> PlacesMade:
    """Everything placed. ConfigError with all that is wrong; `place` says where it was given."""
    marks = None
    if any(point.mark is not None for one in wish.given for point in one.points):
        if wish.picture is None:
            raise InputError("calibrate lines: rim marks are looked for in a picture; give --picture FILE or camera")
        marks = {number: mark.middle_px for number, mark in find_rim_marks(wish.picture.grey).items()}
    made = placed(wish.given, Known(wish.rig, wish.view, marks, wish.u_mm, wish.u_px), place=place)
    return PlacesMade(wish, made, made.entered(wish.rig))


def kept(made: PlacesMade, below: Path, *, at: datetime) -> Path:
    """Write all of it into a new, dated folder below `below`; the folder. StoreError if it cannot be written."""
    folder = new_evidence_folder(below, at, kind="places")
    picture, drawn, wish = made.wish.picture, made.seen(), made.wish
    try:
        settings.write_whole(folder / "plan.svg", made.plan())
        if picture is not None and drawn is not None:
            settings.write_whole(folder / "picture.png", cv2.imencode(".png", picture.grey)[1].tobytes())
            settings.write_whole(folder / "seen.png", cv2.imencode(".png", drawn)[1].tobytes())
        table = line_words.table(
            made.placements, made.now, wish.taped, wish.given, made_at=at.isoformat(timespec="seconds"),
            picture="" if picture is None else picture.name,
        )  # fmt: skip
        settings.write_whole(folder / "places.toml", settings.dump(table))
    except OSError as error:
        raise StoreError(f"{folder}: could not be written ({error.strerror}); free some space") from error
    return folder


def entered(made: PlacesMade, rig_file: Path, folder: Path, *, at: datetime) -> Path:
    """Enter it into the rig file; where the file as it was is kept. ConfigError, StoreError: nothing was changed."""
    taped, placements = made.wish.taped, made.placements
    entries = None if taped is None else {
        "gate_distance_mm": round(taped.value, 2), "u_gate_distance_mm": float(f"{taped.u:.2g}")
    }  # fmt: skip
    because = f"{folder.parent.name}/{folder.name}"
    change = Change(placements.lines, placements.gates, placements.zones, entries, because=because)
    return change_rig(rig_file, change, at=at)
