"""The doubt in a camera.toml, told in one of three ways (see files.py), as named independent sources."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import cast

import numpy as np

from calibration.lens import LENS_PARAMETERS, Floats, moved_lens
from calibration.reader import Reader
from calibration.variations import Camera, named_sources
from calibration.waterplane import View

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


def read_doubts(reader: Reader, table: Mapping[str, object], view: View) -> dict[str, Camera]:
    """Every source in the whole file's `table`, whose lens and pose are already found good."""
    sources: dict[str, Camera] = {}
    sources |= _lens_doubts(reader, cast(Mapping[str, object], table["lens"]), view)
    sources |= _pose_doubts(reader, cast(Mapping[str, object], table["pose"]), view)
    entries = table.get("doubt", [])
    if not isinstance(entries, list):
        reader.say("doubt", entries, "tables that begin with [[doubt]]")
        return sources
    for number, entry in enumerate(entries, 1):
        _named_doubt(reader, f"doubt {number}.", entry, view, sources)
    for name, (lens, pose) in sources.items():
        if pose.camera_mm[2] <= 0 or not np.isfinite(View(lens, pose).to_plane([lens.middle_px])).all():
            reader.say(f"doubt {name!r}", "one so large that the camera might not see the water", "check its unit")
    return sources


def _lens_doubts(reader: Reader, table: Mapping[str, object], view: View) -> Mapping[str, Camera]:
    given = [name for name in LENS_PARAMETERS if "u_" + name in table]
    if "covariance" in table:
        covariance = read_covariance(reader, table, "lens.", size=9, also=[f"u_{name}" for name in given])
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


def _pose_doubts(reader: Reader, table: Mapping[str, object], view: View) -> Mapping[str, Camera]:
    given = [key for key in POSE_DOUBTS if key in table]
    if "covariance" in table:
        covariance = read_covariance(reader, table, "pose.", size=6, also=given)
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
    reader: Reader, what: str, view: View, covariance: Floats, *, move: Callable[[Floats], Camera]
) -> Mapping[str, Camera]:
    try:
        return named_sources(view, covariance, prefix=what, move=move)
    except ValueError as error:
        reader.mistakes.append(f"{error}; wanted a covariance in rad and mm (pose) or px (lens); check its units")
        return {}


def read_covariance(
    reader: Reader, table: Mapping[str, object], place: str, *, size: int, also: Sequence[str]
) -> Floats | None:
    """The (size, size) covariance of `table`, None and a mistake if it is none or if the keys in `also` repeat it."""
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


def _named_doubt(reader: Reader, place: str, entry: object, view: View, sources: dict[str, Camera]) -> None:
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
