"""The evidence of a lens calibration: a dated folder from which the lens can be worked out again.

`lens.toml` (format boatrun-camera/1, without a pose; see FORMATS.md), `corners.csv` with every corner of every view and
how far the fit is off, and where the pictures came from a film or from the live camera, these as PNG files in `views`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.board import BoardSeen
from calibration.errors import CalibrationError
from calibration.files import load_lens
from calibration.lens import Floats, Lens
from logger import settings
from logger.errors import InputError, StoreError
from logger.recording.tables import Columns, Row, rows

CORNERS_COLUMNS = Columns(("view", "width_px", "height_px", "x_mm", "y_mm", "u_px", "v_px", "off_u_px", "off_v_px"))
LENS_FILE, CORNERS_FILE, PICTURE_FILE, VIEWS_FOLDER = "lens.toml", "corners.csv", "coverage.svg", "views"
_MOST_SIDE_PX = 100_000


@dataclass(frozen=True, slots=True)
class LastLens:
    """The newest calibration in a folder of them."""

    path: Path
    lens: Lens
    covariance: Floats
    """(9, 9) in the order of calibration.lens.LENS_PARAMETERS."""


def write_corners(folder: Path, views: Mapping[str, BoardSeen], off_px: Sequence[Floats]) -> None:
    """Write every corner with its residual (N, 2) found minus fitted. StoreError if it cannot be written."""
    lines = [",".join(CORNERS_COLUMNS.needed)]
    for (name, view), off in zip(views.items(), off_px, strict=True):
        word = '"' + name.replace('"', '""') + '"'
        for (x, y, _), (u, v), (du, dv) in zip(view.points_mm, view.pixels, off, strict=True):
            numbers = f"{view.width_px},{view.height_px},{x:.6g},{y:.6g},{u:.4f},{v:.4f},{du:.4f},{dv:.4f}"
            lines.append(f"{word},{numbers}")
    _kept(folder / CORNERS_FILE, "\n".join(lines) + "\n")


def write_views(folder: Path, pictures: Iterable[tuple[str, NDArray[np.uint8]]]) -> None:
    """Keep pictures as PNG files, which lose nothing. StoreError if they cannot be written."""
    for name, picture in pictures:
        try:
            (folder / VIEWS_FOLDER).mkdir(exist_ok=True)
        except OSError as error:
            raise StoreError(f"{folder}: the views cannot be kept ({error.strerror}); free some space") from error
        _kept(folder / VIEWS_FOLDER / f"{name.replace(' ', '-')}.png", cv2.imencode(".png", picture)[1].tobytes())


def write_picture(folder: Path, drawing: str) -> None:
    """Write the drawing of the coverage. StoreError if it cannot be written."""
    _kept(folder / PICTURE_FILE, drawing)


def _kept(path: Path, data: str | bytes) -> None:
    try:
        settings.write_whole(path, data)
    except OSError as error:
        raise StoreError(f"{path}: cannot be written ({error.strerror}); free some space") from error


def read_corners(folder: Path) -> dict[str, BoardSeen]:
    """The views of a calibration that was kept in `folder`.

    Raises:
        InputError: it is no such folder, or the file in it is wrong.
    """
    path = folder / CORNERS_FILE
    if not path.is_file():
        raise InputError(
            f"{folder}: there is no {CORNERS_FILE}; wanted a folder that `boatrun calibrate lens` has made"
        )
    found: dict[str, list[tuple[float, ...]]] = {}
    sizes: dict[str, tuple[int, int]] = {}
    for row in rows(path, CORNERS_COLUMNS, _refuse_torn):
        name = row.cells["view"]
        size = row.whole("width_px", most=_MOST_SIDE_PX), row.whole("height_px", most=_MOST_SIDE_PX)
        if sizes.setdefault(name, size) != size:
            raise row.refusal("width_px", f"{sizes[name][0]} x {sizes[name][1]} as before in that view")
        found.setdefault(name, []).append(tuple(_number(row, key) for key in ("x_mm", "y_mm", "u_px", "v_px")))
    views = {}
    for name, lines in found.items():
        table = np.array(lines)
        points = np.column_stack([table[:, :2], np.zeros(len(table))])
        views[name] = BoardSeen(points, table[:, 2:], *sizes[name])
    return views


def _refuse_torn(sentence: str) -> None:
    raise InputError(f"{sentence}; the copy is not whole; copy the folder again")


def _number(row: Row, key: str) -> float:
    try:
        value = float(row.cells[key])
    except ValueError:
        raise row.refusal(key, "a number") from None
    if not np.isfinite(value):
        raise row.refusal(key, "a finite number")
    return value


def last_lens(below: Path, *, but: Path | None = None) -> LastLens | None:
    """The newest calibration by name in the folders `lens-...` of `below`, other than `but`; None if there is none.

    One that cannot be read is passed over: an old file must not stop a new calibration.
    """
    if not below.is_dir():
        return None
    for folder in sorted(below.glob("lens-*"), reverse=True):
        if folder != but and (folder / LENS_FILE).is_file():
            try:
                return LastLens(folder / LENS_FILE, *load_lens(folder / LENS_FILE))
            except CalibrationError:
                continue
    return None
