"""A calibrated water plane on the disk: a dated folder with the calibration and all that it rests on.

The calibration itself is written last: a folder without it is none. Nothing in it is ever written again.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.files import write_lens, write_view
from calibration.lens import Floats, Lens
from calibration.waterplane import View
from logger import settings
from logger.errors import StoreError
from logger.recording.light_evidence import new_evidence_folder
from logger.recording.stills import Still

CAMERA_NAME, LENS_NAME, POINTS_NAME, MAP_NAME = "camera.toml", "lens.toml", "points.csv", "map.svg"
POINTS_HEADER = "picture,mark,x_mm,y_mm,found_column_px,found_row_px,fitted_column_px,fitted_row_px"


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """One picture of the evidence."""

    picture: Still
    names: Sequence[str]
    """Of its marks; none where they have none."""
    places_mm: Floats
    """(N, 2)"""
    found_px: Floats
    """(N, 2)"""
    fitted_px: Floats
    """(N, 2)"""
    drawn: NDArray[np.uint8]
    """(H, W, 3) the picture with what was made of it."""


@dataclass(frozen=True, slots=True, eq=False)
class PlaneEvidence:
    """What is written."""

    view: View
    lens: Lens
    lens_covariance: Floats
    """(9, 9)"""
    looked: Sequence[Looked]
    map_svg: str
    words: Mapping[str, object]
    """For the table [evidence] of the calibration: what it was made from, and how good it is."""
    notes: str = ""


def write_plane(below: Path, evidence: PlaneEvidence, at: datetime) -> Path:
    """Write a new folder `plane-DATE` below `below`; gives it back.

    Raises:
        StoreError: it cannot be written; nothing is left behind then.
    """
    folder = new_evidence_folder(below, at, kind="plane")
    try:
        _fill(folder, evidence, at)
    except BaseException as error:
        shutil.rmtree(folder, ignore_errors=True)
        if not isinstance(error, OSError | CalibrationError):
            raise
        raise StoreError(f"{folder}: could not be written ({error}); free some space or choose another --to") from error
    settings.sync_folder(below)
    return folder


def _fill(folder: Path, evidence: PlaneEvidence, at: datetime) -> None:
    day = f"{at:%Y-%m-%d}"
    kept: dict[str, str] = {}
    lines = []
    for number, one in enumerate(evidence.looked, 1):
        if one.picture.name not in kept:
            kept[one.picture.name] = f"picture-{len(kept) + 1}.png"
            _write_picture(folder / kept[one.picture.name], one.picture.grey)
        _write_picture(folder / f"seen-{number}.png", one.drawn)
        lines += _lines(kept[one.picture.name], one)
    settings.write_whole(folder / POINTS_NAME, "\n".join([POINTS_HEADER, *lines]) + "\n")
    settings.write_whole(folder / MAP_NAME, evidence.map_svg)
    write_lens(folder / LENS_NAME, evidence.lens, evidence.lens_covariance, date=day, notes="as this plane used it")
    words = dict(evidence.words) | {"pictures": [f"{name}: {file}" for name, file in kept.items()]}
    # last: a folder without it is no calibration
    write_view(
        folder / CAMERA_NAME, evidence.view, calibration_id=folder.name, date=day, notes=evidence.notes, evidence=words
    )


def _lines(file: str, one: Looked) -> list[str]:
    names = one.names or [str(n) for n in range(1, len(one.found_px) + 1)]
    numbers = np.column_stack([one.places_mm, one.found_px, one.fitted_px])
    return [
        f"{file},{_cell(name)}," + ",".join(f"{value:.3f}" for value in row)
        for name, row in zip(names, numbers.tolist(), strict=True)
    ]


def _cell(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if any(letter in text for letter in ',"') else text


def _write_picture(path: Path, picture: NDArray[np.uint8]) -> None:
    settings.write_whole(path, cv2.imencode(".png", picture)[1].tobytes())
