"""A camera calibration to and from its file, `camera.toml`; says everything that is wrong with a bad one.

    format = "boatrun-camera/1"
    id = "tank-A 2026-11-25"            # optional: id, date, notes, and a table [evidence] of anything
    [lens]                              # pinhole and Brown distortion as OpenCV writes them, for one picture size
    width_px = 1280
    height_px = 720
    fx_px = 950.0                       # also fy_px, cx_px, cy_px; optional k1, k2, p1, p2, k3 (default 0)
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

import difflib
import hashlib
import math
import os
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import cast

import numpy as np
import tomlkit

from calibration.errors import CalibrationError
from calibration.lens import LENS_PARAMETERS, Floats, Lens, moved_lens
from calibration.variations import named_sources
from calibration.waterplane import Pose, View, rotation_matrix

CAMERA_FORMAT = "boatrun-camera/1"
LENS_SIZE = ("width_px", "height_px")
LENS_NEEDED = LENS_PARAMETERS[:4]
POSE_DOUBTS = ("u_tilt_deg", "u_turn_deg", "u_camera_place_mm", "u_camera_height_mm")

_LENS_WORDS = {
    "fx_px": "lens: focal length along the rows",
    "fy_px": "lens: focal length along the columns",
    "cx_px": "lens: centre along the rows",
    "cy_px": "lens: centre along the columns",
} | {k: f"lens: bend {k}" for k in ("k1", "k2", "p1", "p2", "k3")}
_POSE_WORDS: dict[str, tuple[tuple[str, int], ...]] = {
    "u_tilt_deg": (("camera tilt about x", 0), ("camera tilt about y", 1)),
    "u_turn_deg": (("camera turn", 2),),
    "u_camera_place_mm": (("camera place along x", 3), ("camera place along y", 4)),
    "u_camera_height_mm": (("camera height", 5),),
}
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
    text, table = _read_toml(path)
    reader = _Reader()
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
    variations = _doubts(reader, table, view) if not reader.mistakes else {}
    if reader.mistakes:
        raise CalibrationError(str(path), reader.mistakes)
    words["id"] = words["id"] or "camera-" + hashlib.sha256(text.encode()).hexdigest()[:12]
    return CameraCalibration(view=View(lens, pose, variations), evidence=evidence, **words)


def load_lens(path: Path) -> Lens:
    """Only the [lens] of the file at `path`, which need not have a pose yet. CalibrationError with all mistakes."""
    _, table = _read_toml(path)
    reader = _Reader()
    if table.get("format") != CAMERA_FORMAT:
        reader.say("format", table.get("format"), f'"{CAMERA_FORMAT}"')
    lens = _lens(reader, reader.table(table, "lens"))
    if lens is None or reader.mistakes:
        raise CalibrationError(str(path), reader.mistakes)
    return lens


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
    text = _as_toml(view, {"id": calibration_id, "date": date, "notes": notes}, evidence or {})
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


class _Reader:
    """Takes values out of tables and collects every mistake: place, what was found, what is wanted."""

    def __init__(self) -> None:
        self.mistakes: list[str] = []

    def say(self, place: str, found: object, wanted: str) -> None:
        shown = "nothing" if found is None else repr(found)
        self.mistakes.append(f"{place}: found {shown if len(shown) < 80 else shown[:77] + '...'}; wanted {wanted}")

    def known(self, table: Mapping[str, object], place: str, keys: Sequence[str]) -> None:
        for key in table:
            if key not in keys:
                near = difflib.get_close_matches(key, keys, 1)
                hint = f"{near[0]!r}?" if near else "one of " + ", ".join(keys)
                self.mistakes.append(f"{place}{key}: not a known name; wanted {hint}")

    def table(self, table: Mapping[str, object], key: str) -> Mapping[str, object]:
        found = table.get(key)
        if not isinstance(found, dict):
            self.say(f"[{key}]", found, "a table of that name")
            return {}
        return found

    def text(self, table: Mapping[str, object], key: str) -> str:
        found = table.get(key, "")
        if isinstance(found, (dict, list)):
            self.say(key, found, "a text")
        return str(found)

    def number(
        self, table: Mapping[str, object], place: str, key: str, *, default: float | None = None, positive: bool = False
    ) -> float:
        found = table.get(key, default)
        value = _number(found)
        if value is None or (positive and value <= 0):
            self.say(place + key, found, "a number above 0" if positive else "a finite number")
            return math.nan
        return value

    def uncertainty(self, table: Mapping[str, object], place: str, key: str) -> float:
        found = table.get(key, 0)
        value = _number(found)
        if value is None or value < 0:
            self.say(place + key, found, "a standard uncertainty, 0 or more")
            return math.nan
        return value

    def array(self, table: Mapping[str, object], place: str, key: str, shape: tuple[int, ...]) -> Floats | None:
        found = table.get(key)
        rows = found if len(shape) == 2 else [found]
        if isinstance(rows, list) and all(isinstance(row, list) and len(row) == shape[-1] for row in rows):
            numbers = [_number(item) for row in rows for item in row]
            if len(numbers) == math.prod(shape) and None not in numbers:
                return np.array(numbers, np.float64).reshape(shape)
        self.say(place + key, found, " x ".join(str(n) for n in shape) + " finite numbers")
        return None


def _number(found: object) -> float | None:
    """A finite float of a whole or decimal number; None for everything else (texts, true, nan, inf)."""
    if isinstance(found, bool) or not isinstance(found, (int, float)):
        return None
    try:
        value = float(found)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None


def _read_toml(path: Path) -> tuple[str, dict[str, object]]:
    try:
        text = path.read_text(encoding="utf-8")
        return text, tomllib.loads(text)
    except OSError as error:
        problem = f"cannot be read ({error.strerror}); wanted a camera calibration file; check its name and place"
    except UnicodeDecodeError:
        problem = "is not a text in UTF-8; wanted a camera calibration file; save it as UTF-8"
    except tomllib.TOMLDecodeError as error:
        problem = f"is not whole TOML ({error}); wanted key = value lines under [lens] and [pose]; mend that place"
    raise CalibrationError(str(path), [problem])


def _lens(reader: _Reader, table: Mapping[str, object]) -> Lens | None:
    before = len(reader.mistakes)
    doubts = tuple("u_" + name for name in LENS_PARAMETERS)
    reader.known(table, "lens.", (*LENS_SIZE, *LENS_PARAMETERS, *doubts, "covariance"))
    size: dict[str, int] = {}
    for key in LENS_SIZE:
        found = table.get(key)
        if isinstance(found, bool) or not isinstance(found, int) or not 2 <= found <= 100_000:
            reader.say(f"lens.{key}", found, "a whole number of pixels")
        else:
            size[key] = found
    values = {key: reader.number(table, "lens.", key, positive=key[0] == "f") for key in LENS_NEEDED}
    values |= {key: reader.number(table, "lens.", key, default=0.0) for key in LENS_PARAMETERS[4:]}
    if len(reader.mistakes) > before:
        return None
    lens = Lens(size["width_px"], size["height_px"], **values)
    for key, length in (("cx_px", lens.width_px), ("cy_px", lens.height_px)):
        if not -length <= values[key] <= 2 * length:
            reader.say(f"lens.{key}", values[key], f"a place in or near the picture, 0 to {length}")
    if not lens.is_one_to_one():
        found = {key: values[key] for key in LENS_PARAMETERS[4:] if values[key]}
        reader.say("lens.k1 ...", found, "a distortion that does not fold the picture before its corners")
    return lens if len(reader.mistakes) == before else None


def _pose(reader: _Reader, table: Mapping[str, object]) -> Pose | None:
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


def _one_of(reader: _Reader, table: Mapping[str, object], pair: Sequence[str]) -> str | None:
    given = [key for key in pair if key in table]
    if len(given) != 1:
        reader.say("pose", " and ".join(given) or f"neither {pair[0]} nor {pair[1]}", f"one of {pair[0]}, {pair[1]}")
        return None
    return given[0]


def _rotation(reader: _Reader, table: Mapping[str, object]) -> Floats | None:
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


def _check_sight(reader: _Reader, view: View) -> None:
    if not np.isfinite(view.to_plane(_middle(view.lens))).all():
        reader.say("pose", "a picture whose middle does not see the water", "a camera that looks down at it")


def _middle(lens: Lens) -> Floats:
    return np.array([[(lens.width_px - 1) / 2, (lens.height_px - 1) / 2]])


def _doubts(reader: _Reader, table: Mapping[str, object], view: View) -> dict[str, tuple[Lens, Pose]]:
    sources: dict[str, tuple[Lens, Pose]] = {}
    sources |= _lens_doubts(reader, cast(Mapping[str, object], table["lens"]), view)
    sources |= _pose_doubts(reader, cast(Mapping[str, object], table["pose"]), view)
    entries = table.get("doubt", [])
    if not isinstance(entries, list):
        reader.say("doubt", entries, "tables that begin with [[doubt]]")
        return sources
    for number, entry in enumerate(entries, 1):
        _named_doubt(reader, f"doubt {number}.", entry, view, sources)
    for name, (lens, pose) in sources.items():
        if pose.camera_mm[2] <= 0 or not np.isfinite(View(lens, pose).to_plane(_middle(lens))).all():
            reader.say(f"doubt {name!r}", "one so large that the camera might not see the water", "check its unit")
    return sources


def _lens_doubts(reader: _Reader, table: Mapping[str, object], view: View) -> Mapping[str, tuple[Lens, Pose]]:
    given = [name for name in LENS_PARAMETERS if "u_" + name in table]
    if "covariance" in table:
        covariance = _covariance(reader, table, "lens.", 9, [f"u_{name}" for name in given])
        if covariance is None:
            return {}
        return _split(reader, "lens", view, covariance, move=lambda d: (moved_lens(view.lens, d), view.pose))
    sources = {}
    for name in given:
        u = reader.uncertainty(table, "lens.", "u_" + name)
        if u > 0:
            lens = replace(view.lens, **{name: getattr(view.lens, name) + u})
            sources[_LENS_WORDS[name]] = (lens, view.pose)
    return sources


def _pose_doubts(reader: _Reader, table: Mapping[str, object], view: View) -> Mapping[str, tuple[Lens, Pose]]:
    given = [key for key in POSE_DOUBTS if key in table]
    if "covariance" in table:
        covariance = _covariance(reader, table, "pose.", 6, given)
        if covariance is None:
            return {}
        return _split(
            reader, "camera pose", view, covariance, move=lambda d: (view.lens, view.pose.moved(d[:3], d[3:]))
        )
    sources = {}
    for key in given:
        u = reader.uncertainty(table, "pose.", key)
        for name, index in _POSE_WORDS[key]:
            change = np.zeros(6)
            change[index] = math.radians(u) if key.endswith("_deg") else u
            if u > 0:
                sources[name] = (view.lens, view.pose.moved(change[:3], change[3:]))
    return sources


def _split(
    reader: _Reader, what: str, view: View, covariance: Floats, *, move: Callable[[Floats], tuple[Lens, Pose]]
) -> Mapping[str, tuple[Lens, Pose]]:
    try:
        return named_sources(view, covariance, prefix=what, move=move)
    except ValueError as error:
        reader.mistakes.append(f"{error}; wanted a covariance in rad and mm (pose) or px (lens); check its units")
        return {}


def _covariance(
    reader: _Reader, table: Mapping[str, object], place: str, size: int, also: Sequence[str]
) -> Floats | None:
    if also:
        reader.say(place + "covariance", f"covariance and {also[0]}", "one of the two, they say the same thing")
    matrix = reader.array(table, place, "covariance", (size, size))
    if matrix is None:
        return None
    sd = np.sqrt(np.abs(np.diag(matrix)))
    scaled = matrix / np.outer(np.where(sd > 0, sd, 1), np.where(sd > 0, sd, 1))
    if np.diag(matrix).min() < 0 or np.abs(scaled - scaled.T).max() > 1e-6:
        reader.say(place + "covariance", "a negative variance or unlike halves", "a symmetric covariance matrix")
        return None
    if np.linalg.eigvalsh((scaled + scaled.T) / 2)[0] < -1e-6:
        reader.say(place + "covariance", "correlations that cannot be", "a covariance (no negative eigenvalue)")
        return None
    symmetric: Floats = (matrix + matrix.T) / 2
    return symmetric


def _named_doubt(reader: _Reader, place: str, entry: object, view: View, sources: dict[str, tuple[Lens, Pose]]) -> None:
    if not isinstance(entry, dict):
        reader.say(place.strip("."), entry, "a table that begins with [[doubt]]")
        return
    reader.known(entry, place, ("name", "lens", "turn_rad", "shift_mm"))
    name = entry.get("name")
    if not isinstance(name, str) or not name.strip() or name in sources:
        reader.say(place + "name", name, "a name in words, each once")
        return
    changes = reader.table(entry, "lens") if "lens" in entry else {}
    reader.known(changes, place + "lens.", LENS_PARAMETERS)
    lens = {key: reader.number(changes, place + "lens.", key) for key in changes if key in LENS_PARAMETERS}
    turn, shift = (
        reader.array(entry, place, key, (3,)) if key in entry else np.zeros(3) for key in ("turn_rad", "shift_mm")
    )
    if turn is None or shift is None:
        return
    pose = view.pose.moved(turn, shift) if turn.any() or shift.any() else view.pose
    sources[name] = (replace(view.lens, **{k: getattr(view.lens, k) + v for k, v in lens.items()}), pose)


def _as_toml(view: View, words: Mapping[str, str], evidence: Mapping[str, object]) -> str:
    document = tomlkit.document()
    document["format"] = CAMERA_FORMAT
    for key, text in words.items():
        if text:
            document[key] = text
    lens = tomlkit.table()
    for name in (*LENS_SIZE, *LENS_PARAMETERS):
        lens[name] = getattr(view.lens, name)
    document["lens"] = lens
    pose = tomlkit.table()
    pose["rotation"] = tomlkit.array("[" + ",".join(f"\n  {_numbers(row)}" for row in view.pose.rotation) + "\n]")
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
