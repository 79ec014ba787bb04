"""A camera calibration to and from its file, `camera.toml`; says everything that is wrong with a bad one.

    format = "boatrun-camera/1"
    id = "tank-A 2026-11-25"            # optional: id, date, notes, and a table [evidence] of anything
    [lens]                              # pinhole and Brown distortion as OpenCV writes them, for one picture size
    width_px = 1280
    height_px = 720
    fx_px = 950.0                       # also fy_px, cx_px, cy_px; optional k1, k2, p1, p2, k3 (default 0)
    model = "brown"                     # optional; "fisheye" for a very wide lens, see lens.py
    [pose]                              # X_cam = R·X_tank + t; tank: mm, x along the run, y left, z up, water z = 0
    rotation_vector = [3.1, 0.0, 0.0]   # rad, or: rotation = [[..3..], [..3..], [..3..]]
    translation_mm = [-600.0, 0.0, 1200.0]   # or: camera_mm = [x, y, height], the lens's place in the tank

Doubt is optional and can be told in one of two ways for each table, all as standard uncertainties:
* single ones: `u_fx_px`, `u_fy_px`, `u_cx_px`, `u_cy_px`, `u_k1` ... in [lens]; in [pose] `u_tilt_deg` (about x and
  about y, each), `u_turn_deg` (about z), `u_camera_place_mm` (along x and along y, each), `u_camera_height_mm`;
  each is taken as independent of the others;
* `covariance`: in [lens] 9x9 in the order fx_px, fy_px, cx_px, cy_px, k1, k2, p1, p2, k3; in [pose] 6x6 in the order
  turn of the camera about the tank's x, y, z axes through the lens (rad), place of the lens x, y, z (mm).
Our own fits write ready-made independent sources instead, one [[doubt]] each: a `name` in words, and by how much
lens parameters (`lens = {fx_px = 0.3, ...}`) and pose (`turn_rad = [..3..]`, `shift_mm = [..3..]`) change together if
that source is off by +1 standard uncertainty.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import tomlkit

from calibration.doubts import POSE_DOUBTS, read_covariance, read_doubts
from calibration.errors import CalibrationError
from calibration.lens import LENS_MODELS, LENS_PARAMETERS, Floats, Lens, LensModel
from calibration.reader import Reader, read_toml
from calibration.waterplane import Pose, View, rotation_matrix

CAMERA_FORMAT = "boatrun-camera/1"
LENS_SIZE = ("width_px", "height_px")
LENS_NEEDED = LENS_PARAMETERS[:4]

_ROTATION_PRINTED_TO = 2e-4  # a matrix typed with four decimals is still meant as a rotation


@dataclass(frozen=True, slots=True, eq=False)
class CameraCalibration:
    """One camera.toml: the view and where it came from."""

    id: str
    """As written in the file; without one, the first letters of the file's SHA-256."""
    view: View
    date: str = ""
    notes: str = ""
    evidence: Mapping[str, object] = field(default_factory=dict)
    """What it was fitted from: views, residuals, marks; free-form."""


def load_view(path: Path) -> View:
    """The calibrated camera of the file at `path`. CalibrationError with all its mistakes."""
    return load_calibration(path).view


def load_calibration(path: Path) -> CameraCalibration:
    """Read and check the whole file at `path`. CalibrationError with all its mistakes at once."""
    text, table = read_toml(path)
    reader = Reader()
    reader.known(table, "", ("format", "id", "date", "notes", "lens", "pose", "doubt", "evidence"))
    if table.get("format") != CAMERA_FORMAT:
        reader.say("format", table.get("format"), f'"{CAMERA_FORMAT}"')
    lens = _lens(reader, reader.table(table, "lens"))
    pose = _pose(reader, reader.table(table, "pose"))
    words = {key: reader.text(table, key) for key in ("id", "date", "notes")}
    evidence = reader.table(table, "evidence") if "evidence" in table else {}
    if lens is None or pose is None:
        raise CalibrationError(str(path), reader.mistakes)
    view = View(lens, pose)
    _check_sight(reader, view)
    variations = read_doubts(reader, table, view) if not reader.mistakes else {}
    if reader.mistakes:
        raise CalibrationError(str(path), reader.mistakes)
    words["id"] = words["id"] or "camera-" + hashlib.sha256(text.encode()).hexdigest()[:12]
    return CameraCalibration(view=View(lens, pose, variations), evidence=evidence, **words)


def load_lens(path: Path) -> tuple[Lens, Floats]:
    """Only the [lens] of the file at `path`, which need not have a pose yet, with its covariance (9, 9).

    The covariance is in the order of LENS_PARAMETERS, 0 where nothing is stated. CalibrationError with all mistakes.
    """
    _, table = read_toml(path)
    reader = Reader()
    if table.get("format") != CAMERA_FORMAT:
        reader.say("format", table.get("format"), f'"{CAMERA_FORMAT}"')
    entries = reader.table(table, "lens")
    lens = _lens(reader, entries)
    covariance: Floats | None = np.diag([reader.uncertainty(entries, "lens.", "u_" + n) ** 2 for n in LENS_PARAMETERS])
    if "covariance" in entries:
        covariance = read_covariance(reader, entries, "lens.", size=9, also=[k for k in entries if k.startswith("u_")])
    if lens is None or covariance is None or reader.mistakes:
        raise CalibrationError(str(path), reader.mistakes)
    return lens, covariance


def write_lens(
    path: Path,
    lens: Lens,
    covariance: Floats,
    *,
    calibration_id: str = "",
    date: str = "",
    notes: str = "",
    evidence: Mapping[str, object] | None = None,
) -> None:
    """Write a lens that has no pose yet, with its covariance (9, 9), as a new file; never over an existing one."""
    document = _head({"id": calibration_id, "date": date, "notes": notes})
    table = _lens_table(lens)
    table["covariance"] = _matrix(covariance)
    document["lens"] = table
    if evidence:
        document["evidence"] = dict(evidence)
    _write_new(path, tomlkit.dumps(document))


def write_view(
    path: Path,
    view: View,
    *,
    calibration_id: str = "",
    date: str = "",
    notes: str = "",
    evidence: Mapping[str, object] | None = None,
) -> None:
    """Write `view` with its sources of doubt as a new file; an existing file is never overwritten.

    Raises:
        CalibrationError: `path` exists already, or its folder does not.
    """
    _write_new(path, _as_toml(view, {"id": calibration_id, "date": date, "notes": notes}, evidence or {}))


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError:
        mistake = "there is such a file already; a calibration is never overwritten; choose another name"
        raise CalibrationError(str(path), [mistake]) from None
    except OSError as error:
        raise CalibrationError(str(path), [f"cannot be written ({error.strerror}); choose another place"]) from None


def _lens(reader: Reader, table: Mapping[str, object]) -> Lens | None:
    before = len(reader.mistakes)
    doubts = tuple("u_" + name for name in LENS_PARAMETERS)
    reader.known(table, "lens.", ("model", *LENS_SIZE, *LENS_PARAMETERS, *doubts, "covariance"))
    size: dict[str, int] = {}
    for key in LENS_SIZE:
        found = table.get(key)
        if isinstance(found, bool) or not isinstance(found, int) or not 2 <= found <= 100_000:
            reader.say(f"lens.{key}", found, "a whole number of pixels")
        else:
            size[key] = found
    values = {key: reader.number(table, "lens.", key, positive=key[0] == "f") for key in LENS_NEEDED}
    values |= {key: reader.number(table, "lens.", key, default=0.0) for key in LENS_PARAMETERS[4:]}
    model = _model(reader, table)
    if model is None or len(reader.mistakes) > before:
        return None
    lens = Lens(size["width_px"], size["height_px"], **values, model=model)
    for key, length in (("cx_px", lens.width_px), ("cy_px", lens.height_px)):
        if not -length <= values[key] <= 2 * length:
            reader.say(f"lens.{key}", values[key], f"a place in or near the picture, 0 to {length}")
    if not lens.is_one_to_one():
        bend = {key: values[key] for key in LENS_PARAMETERS[4:] if values[key]}
        wanted = "a distortion that does not fold the picture before its corners"
        reader.say("lens.k1 ...", bend, f"{wanted}; calibrate again with the board in the corners, too")
    return lens if len(reader.mistakes) == before else None


def _model(reader: Reader, table: Mapping[str, object]) -> LensModel | None:
    model = next((known for known in LENS_MODELS if known == table.get("model", "brown")), None)
    if model is None:
        reader.say("lens.model", table["model"], " or ".join(f'"{known}"' for known in LENS_MODELS))
    elif model == "fisheye" and any(key in table and table[key] for key in ("p1", "p2", "u_p1", "u_p2")):
        reader.say("lens.p1, p2", "tangential terms of a fisheye", "none (that model has only k1, k2, k3)")
    return model


def _pose(reader: Reader, table: Mapping[str, object]) -> Pose | None:
    before = len(reader.mistakes)
    forms = ("rotation", "rotation_vector", "translation_mm", "camera_mm")
    reader.known(table, "pose.", (*forms, *POSE_DOUBTS, "covariance"))
    turn, place = (_one_of(reader, table, pair) for pair in (forms[:2], forms[2:]))
    rotation = vector = None
    if turn == "rotation":
        rotation = _rotation(reader, table)
    elif turn and (angles := reader.array(table, "pose.", turn, (3,))) is not None:
        rotation = rotation_matrix(angles)
    if place:
        vector = reader.array(table, "pose.", place, (3,))
    if rotation is None or vector is None or len(reader.mistakes) > before:
        return None
    pose = Pose(rotation, vector) if place == "translation_mm" else Pose.at(rotation, camera_mm=vector)
    height = float(pose.camera_mm[2])
    if height <= 0:
        reader.say("pose", f"a camera {height:.6g} mm above the water", "a height above 0 (z up, water at z = 0)")
    elif pose.rotation[2, 2] >= 0:
        reader.say("pose", "a camera that looks up, away from the water", "one that looks down (camera z is forward)")
    return pose if len(reader.mistakes) == before else None


def _one_of(reader: Reader, table: Mapping[str, object], pair: Sequence[str]) -> str | None:
    given = [key for key in pair if key in table]
    if len(given) != 1:
        reader.say("pose", " and ".join(given) or f"neither {pair[0]} nor {pair[1]}", f"one of {pair[0]}, {pair[1]}")
        return None
    return given[0]


def _rotation(reader: Reader, table: Mapping[str, object]) -> Floats | None:
    """The nearest true rotation of a matrix that is one to within its printed digits."""
    rotation = reader.array(table, "pose.", "rotation", (3, 3))
    if rotation is None:
        return None
    off = float(np.abs(rotation @ rotation.T - np.eye(3)).max())
    if off > _ROTATION_PRINTED_TO:
        found = f"rows that are off by {off:.2g} from being perpendicular and of length 1"
        reader.say("pose.rotation", found, "a rotation matrix, written with six decimals or more")
        return None
    if np.linalg.det(rotation) < 0:
        reader.say("pose.rotation", "a mirror image", "a rotation (determinant +1); turn the sign of one row")
        return None
    if off < 1e-12:
        return rotation
    left, _, right = np.linalg.svd(rotation)
    nearest: Floats = left @ right
    return nearest


def _check_sight(reader: Reader, view: View) -> None:
    if not np.isfinite(view.to_plane([view.lens.middle_px])).all():
        reader.say("pose", "a picture whose middle does not see the water", "a camera that looks down at it")


def _as_toml(view: View, words: Mapping[str, str], evidence: Mapping[str, object]) -> str:
    document = _head(words)
    document["lens"] = _lens_table(view.lens)
    pose = tomlkit.table()
    pose["rotation"] = _matrix(view.pose.rotation)
    pose["translation_mm"] = tomlkit.array(_numbers(view.pose.translation_mm))
    document["pose"] = pose
    if view.variations:
        doubts = tomlkit.aot()
        for name, camera in view.variations.items():
            doubts.append(_doubt_table(view, name, camera))
        document["doubt"] = doubts
    if evidence:
        document["evidence"] = dict(evidence)
    return tomlkit.dumps(document)


def _head(words: Mapping[str, str]) -> tomlkit.TOMLDocument:
    document = tomlkit.document()
    document["format"] = CAMERA_FORMAT
    for key, text in words.items():
        if text:
            document[key] = text
    return document


def _lens_table(lens: Lens) -> tomlkit.items.Table:
    table = tomlkit.table()
    if lens.model != "brown":
        table["model"] = lens.model
    for name in (*LENS_SIZE, *LENS_PARAMETERS):
        table[name] = getattr(lens, name)
    return table


def _matrix(rows: Floats) -> tomlkit.items.Array:
    return tomlkit.array("[" + ",".join(f"\n  {_numbers(row)}" for row in rows) + "\n]")


def _doubt_table(view: View, name: str, camera: tuple[Lens, Pose]) -> tomlkit.items.Table:
    table = tomlkit.table()
    table["name"] = name
    changes = {n: getattr(camera[0], n) - getattr(view.lens, n) for n in LENS_PARAMETERS}
    if any(round(d, 15) for d in changes.values()):
        inline = tomlkit.inline_table()
        inline.update({n: round(d, 15) for n, d in changes.items() if d})
        table["lens"] = inline
    turn, shift = view.pose.moves_to(camera[1])
    if turn.any() or shift.any():
        table["turn_rad"], table["shift_mm"] = (
            tomlkit.array(_numbers(turn.round(15))),
            tomlkit.array(_numbers(shift.round(9))),
        )
    return table


def _numbers(row: Floats) -> str:
    return "[" + ", ".join(repr(float(value) + 0.0) for value in row) + "]"
