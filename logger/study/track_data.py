"""One run as the page that studies it draws it: numbers in s, mm and mm/s, ready to be written as JSON.

The dot is the bow. The speed at a moment is how far the bow came in a stretch of `WINDOW_S` about it, divided by that
stretch: plain enough to be done again by hand. Where the stretch reaches out of the track there is no speed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.config import Rig
from logger.results.columns import SPEED_MAX_WINDOW_S
from logger.results.lines import ahead, distance_between, end_line, start_line, travel
from logger.study.axes import round_step
from logger.study.class_folder import Class, ClassRun, names_of
from logger.study.leaf import Run
from logger.study.series import Series
from logger.study.tongue import _

Floats = NDArray[np.float64]

WINDOW_S = SPEED_MAX_WINDOW_S
GHOST_POINTS = 100
"""Of another run laid over this one so many moments are enough."""
_COVERAGE = 1.96
_ROOM = 0.02
"""So much of its length an axis goes on beyond the last value at least."""


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """The bow's way, moment by moment; arrays (N,)."""

    t_s: Floats
    x_mm: Floats
    y_mm: Floats
    along_mm: Floats
    """Past the start line."""
    across_mm: Floats
    """To the left of the lane's middle."""
    speed_mm_per_s: Floats
    """Along the lane, over `WINDOW_S`; NaN near the ends."""


def way_of(series: Series, rig: Rig) -> Way:
    """What is drawn of a track."""
    reach = float(series.outline_mm[:, 0].max())
    x = series.x_mm + reach * np.cos(series.heading_rad)
    y = series.y_mm + reach * np.sin(series.heading_rad)
    start = rig.line("start")
    if start is None:
        side = np.array([-travel(rig)[1], travel(rig)[0]])
        across = np.column_stack([x, y]) @ side
    else:
        across = ahead(start, rig).along_mm(np.column_stack([x, y]))
    along = 1000 * series.along_m
    return Way(series.t_s, x, y, along, across, stretch_speed(series.t_s, along))


def stretch_speed(t_s: Floats, along_mm: Floats) -> Floats:
    """How far in `WINDOW_S` about each moment, divided by it; NaN where the track does not reach so far."""
    half = WINDOW_S / 2
    inside = (t_s - half >= t_s[0] - 1e-9) & (t_s + half <= t_s[-1] + 1e-9)
    gained = np.interp(t_s + half, t_s, along_mm) - np.interp(t_s - half, t_s, along_mm)
    return np.where(inside, gained / WINDOW_S, np.nan)


@dataclass(frozen=True, slots=True)
class Reach:
    """From where to where an axis goes for all runs of a kind; in s, mm and mm/s."""

    time_s: tuple[float, float]
    along_mm: tuple[float, float]
    across_mm: tuple[float, float]
    speed_mm_per_s: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Tracks:
    """What the pages of all runs of a class share."""

    whole: Class
    names: Mapping[str, str]
    """Run -> what it is called."""
    ways: Mapping[str, Way]
    """Run -> its way; runs without a track are left out."""
    reaches: Mapping[str, Reach]
    """Kind of run -> its axes."""
    ghosts: Mapping[str, dict[str, Any]]
    """Run -> it as it is laid over others."""


def tracks_of(whole: Class) -> Tracks:
    """All ways of a class, and the axes that they share."""
    names = dict(zip((one.id for one in whole.runs), names_of(whole.runs), strict=True))
    ways = {one.id: way_of(one.run.series, one.run.rig) for one in whole.runs if one.run.series is not None}
    kin = {kind: [ways[one.id] for one in whole.of(kind=kind) if one.id in ways] for kind in whole.kinds}
    ghosts = {run_id: _ghost(run_id, way, names) for run_id, way in ways.items()}
    return Tracks(whole, names, ways, {kind: reach_of(found) for kind, found in kin.items()}, ghosts)


def reach_of(ways: Sequence[Way]) -> Reach:
    """The same axes for every run of a class, so that steeper on the page is faster in the water; nought is in all."""
    aside = max((float(np.abs(way.across_mm).max()) for way in ways), default=100.0)
    return Reach(
        _round((way.t_s for way in ways), 20),
        _round((way.along_mm for way in ways), 12),
        _round([np.array([-aside, aside])], 6),
        _round((way.speed_mm_per_s for way in ways), 12),
    )


def _round(arrays: Any, about_count: int) -> tuple[float, float]:
    found = [a[np.isfinite(a)] for a in arrays]
    found = [a for a in found if len(a)]
    if not found:
        return 0.0, 1.0
    low = min([0.0, *(float(a.min()) for a in found)])
    high = max([0.0, *(float(a.max()) for a in found)]) or 1.0
    step, room = round_step(high - low, about_count), _ROOM * (high - low)  # a dot at the frame would be cut off
    low, high = low - room if low else low, high + room if high else high
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def data_of(one: ClassRun, tracks: Tracks) -> dict[str, Any]:
    """All numbers of the page of one run."""
    run, series = one.run, one.run.series
    if series is None:
        raise ValueError(f"run {one.id} has no track to be drawn")
    way, names = tracks.ways[one.id], tracks.names
    kin = tracks.whole.of(kind=run.trial.kind)
    return {
        "id": one.id,
        "name": names[one.id],
        "zero": _(series.zero),
        "window_s": WINDOW_S,
        **_columns(way),
        "u_along": _listed(1000 * _COVERAGE * series.u_along_m, 2),
        "u_across": _listed(
            1000 * _COVERAGE * (series.u_along_m if series.u_across_m is None else series.u_across_m), 2
        ),
        "u_speed": _listed(1000 * _COVERAGE * series.u_speed_m_per_s, 1),
        "unseen": _spans(~series.seen),
        "hull": [[round(float(x), 1), round(float(y), 1)] for x, y in series.outline_mm],
        "heading": _listed(series.heading_rad, 4),
        "reach": round(float(series.outline_mm[:, 0].max()), 2),
        "tank": _tank(run.rig),
        "axes": _axes(tracks.reaches[run.trial.kind]),
        "moments": moments(run),
        "mean": mean_speed(run),
        "fit": coast_of(run, way),
        "ghosts": [tracks.ghosts[other.id] for other in kin if other.id != one.id and other.id in tracks.ghosts],
    }


def _columns(way: Way) -> dict[str, Any]:
    return {
        "t": _listed(way.t_s, 4), "x": _listed(way.x_mm, 2), "y": _listed(way.y_mm, 2),
        "along": _listed(way.along_mm, 2), "across": _listed(way.across_mm, 2),
        "speed": _listed(way.speed_mm_per_s, 2),
    }  # fmt: skip


def _listed(values: Floats, decimals: int) -> list[float | int | None]:
    rounded = np.round(values, decimals).tolist()
    return [None if math.isnan(v) else v if decimals else int(v) for v in rounded]


def _spans(marked: NDArray[np.bool_]) -> list[list[int]]:
    """First and last index of each stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], marked.astype(np.int8), [0]])))
    return [[int(a), int(b) - 1] for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _axes(reach: Reach) -> dict[str, list[float]]:
    return {
        "time": list(reach.time_s), "along": list(reach.along_mm), "across": list(reach.across_mm),
        "speed": list(reach.speed_mm_per_s),
    }  # fmt: skip


def _tank(rig: Rig) -> dict[str, Any]:
    start = rig.line("start")
    line = ahead(start, rig) if start is not None else None
    normal = travel(rig) if line is None else line.normal
    middles = [np.add(one.a_mm, one.b_mm) / 2 for one in rig.lines]
    past = [float(m @ normal) if line is None else float(line.past_mm(m)) for m in middles]
    return {
        "outline": [list(corner) for corner in rig.tank.outline_mm],
        "lines": [
            {"name": one.name, "role": one.role, "a": list(one.a_mm), "b": list(one.b_mm), "at": round(at, 1),
             "gate": rig.gate_at(one.name) is not None}
            for one, at in zip(rig.lines, past, strict=True)
        ],
        "zones": [
            {"name": z.name, "kind": z.kind, "outline": [list(c) for c in z.outline_mm],
             "middle": None if z.middle_mm is None else list(z.middle_mm), "radius": z.radius_mm}
            for z in rig.zones
        ],
    }  # fmt: skip


def moments(run: Run) -> list[dict[str, Any]]:
    """When the bow reached each line, and when the boat came to rest in a drift run."""
    roles = {line.name: line.role for line in run.rig.lines}
    best = {c.line: c for c in sorted(run.trial.crossings, key=lambda c: -c.u_s)}
    found = [
        {"t": round((c.t_ns - run.zero_ns) / 1e9, 5), "name": c.line, "role": roles.get(c.line, "mark"),
         "U": round(_COVERAGE * c.u_s, 5), "by": c.witness}
        for c in best.values()
    ]  # fmt: skip
    coast = run.trial.results.get("coast_time_s")
    mark = next((m for m in found if m["role"] == "mark"), None)
    if coast is not None and mark is not None and run.trial.end_reason == "at_rest":
        found.append(
            {"t": round(float(mark["t"]) + coast.quantity.value, 5), "name": "rest", "role": "rest",
             "U": round(coast.quantity.U, 5), "by": coast.witness}
        )  # fmt: skip
    return sorted(found, key=lambda moment: float(moment["t"]))


def mean_speed(run: Run) -> dict[str, Any] | None:
    """From the start line to the last line: distance, time and their quotient, each with U at 95 %; None if not timed.

    What distance and time share (where the lines are) cancels as far as it does.
    """
    first, last = start_line(run.rig), end_line(run.rig, run.trial.kind)
    time = run.trial.results.get("time_s")
    if first is None or last is None or first == last or time is None or not time.quantity.value > 0:
        return None
    distance = distance_between(first, last, run.rig)
    speed = distance.over(time.quantity, "mm/s")
    return {
        "from": first.name, "to": last.name,
        "distance": round(distance.value, 3), "U_distance": round(distance.U, 3),
        "time": round(time.quantity.value, 5), "U_time": round(time.quantity.U, 5),
        "speed": round(speed.value, 4), "U_speed": round(speed.U, 4),
    }  # fmt: skip


def coast_of(run: Run, way: Way) -> dict[str, Any] | None:
    """The law of drag that fits the coast best, in 1/s and 1/mm, and from where it is drawn; None without one."""
    results = run.trial.results
    mark = next((m for m in moments(run) if m["role"] == "mark"), None)
    slowing = results.get("deceleration_m_per_s2")
    if mark is None or slowing is None:
        return None
    linear = results["drag_linear_per_s"].quantity if "drag_linear_per_s" in results else None
    squared = results["drag_quadratic_per_m"].quantity if "drag_quadratic_per_m" in results else None
    a = linear.value if linear else 0.0
    b = squared.value / 1000 if squared else 0.0
    speed = _first_speed(1000 * slowing.quantity.value, a, b)
    if speed is None:
        return None
    return {
        "t": mark["t"], "along": round(float(np.interp(float(mark["t"]), way.t_s, way.along_mm)), 2),
        "speed": round(speed, 3), "linear": a, "squared": b,
        "slowing": round(1000 * slowing.quantity.value, 3), "U_slowing": round(1000 * slowing.quantity.U, 3),
    }  # fmt: skip


def _first_speed(slowing: float, a: float, b: float) -> float | None:
    """The speed at which a·v + b·v² is that slowing."""
    if b > 0:
        return (-a + math.sqrt(a * a + 4 * b * slowing)) / (2 * b)
    return slowing / a if a > 0 else None


def _ghost(run_id: str, way: Way, names: Mapping[str, str]) -> dict[str, Any]:
    t_s = np.linspace(way.t_s[0], way.t_s[-1], min(GHOST_POINTS, len(way.t_s)))
    thin = {
        "x": _listed(np.interp(t_s, way.t_s, way.x_mm), 0), "y": _listed(np.interp(t_s, way.t_s, way.y_mm), 0),
        "along": _listed(np.interp(t_s, way.t_s, way.along_mm), 1),
        "across": _listed(np.interp(t_s, way.t_s, way.across_mm), 0),
        "speed": _listed(np.interp(t_s, way.t_s, way.speed_mm_per_s), 0),
    }  # fmt: skip
    return {"id": run_id, "name": names[run_id], "t": _listed(t_s, 3), **thin}


def as_json(data: object) -> str:
    """JSON that may stand in a script element of a page: nothing in it ends the element."""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026").replace("\u2028", "\\u2028")
