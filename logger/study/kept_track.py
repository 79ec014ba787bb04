"""A track as it is kept beside its recording, read again for drawing, so that no video need be looked at.

track.csv tells where the boat's middle was; lines are met by its bow. How far the bow is ahead of the middle is told by
the trial itself: at the moment of a crossing the bow was at that line.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from logger.config import Boat, Rig
from logger.errors import InputError
from logger.results.columns import TRACK
from logger.results.lines import ahead, travel
from logger.results.trial import Trial
from logger.study.series import Series, zero_of

Floats = NDArray[np.float64]

BEFORE_S, AFTER_S = 1.5, 0.5
"""So much of the time before the boat starts and after it finishes is shown."""
_STILL = "measured"


def read_track(path: Path) -> dict[str, Floats] | None:
    """The columns of a track.csv that are numbers, and `seen` (1 where the boat was seen); None if there is no track.

    Raises:
        InputError: the file is no track.csv, or damaged.
    """
    if not path.is_file():
        return None
    try:
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"{path}: it cannot be read ({error}); measure the recording again") from error
    if not rows or rows[0] != list(TRACK):
        raise InputError(f"{path}: its first line is not that of a track.csv; measure the recording again")
    if len(rows) < 3:
        return None
    try:
        columns = {name: np.array(column, np.float64) for name, column in _numbers(rows)}
    except ValueError as error:
        raise InputError(f"{path}: {error}; wanted numbers; measure the recording again") from None
    if not all(np.isfinite(column).all() for column in columns.values()) or not (np.diff(columns["t_ns"]) > 0).all():
        raise InputError(f"{path}: its moments do not follow each other as numbers; measure the recording again")
    columns["seen"] = np.array([row[-1] == _STILL for row in rows[1:]], np.float64)
    return columns


def _numbers(rows: list[list[str]]) -> list[tuple[str, tuple[str, ...]]]:
    table = list(zip(*rows[1:], strict=True))
    return [(name, table[i]) for i, name in enumerate(TRACK) if name != "quality"]


def series_of_track(columns: dict[str, Floats], trial: Trial, rig: Rig, boat: Boat) -> Series:
    """What draws the track: from shortly before the start line to the end, or shortly after the finish."""
    zero_ns, zero = zero_of(trial, rig, None)
    if not zero_ns:
        zero_ns = int(columns["t_ns"][0])
    t_s = (columns["t_ns"] - zero_ns) / 1e9
    kept = (t_s >= min(-BEFORE_S, t_s[-1])) & (t_s <= _end_s(trial, rig, zero_ns))
    told = {name: column[kept] for name, column in columns.items()}
    heading = np.unwrap(np.radians(told["heading_deg"]))
    reach, u_reach = reach_mm(columns, trial, rig, boat)
    start = rig.line("start")
    line = ahead(start, rig) if start is not None else None
    normal = travel(rig) if line is None else line.normal
    bow = np.column_stack([told["x_mm"] + reach * np.cos(heading), told["y_mm"] + reach * np.sin(heading)])
    past = bow @ normal if line is None else line.past_mm(bow)
    u_along = np.sqrt((normal[0] * told["u_x_mm"]) ** 2 + (normal[1] * told["u_y_mm"]) ** 2 + u_reach**2)
    return Series(
        t_s=t_s[kept],
        zero=zero,
        x_mm=told["x_mm"],
        y_mm=told["y_mm"],
        heading_rad=heading,
        along_m=past / 1000,
        u_along_m=u_along / 1000,
        speed_m_per_s=told["speed_m_per_s"],
        u_speed_m_per_s=told["u_speed_m_per_s"],
        seen=told["seen"] > 0,
        outline_mm=outline_of(reach, boat),
        u_across_m=_u_across(told, normal, heading, reach, boat) / 1000,
    )


def _u_across(told: dict[str, Floats], normal: Floats, heading: Floats, reach: float, boat: Boat) -> Floats:
    """(N,) standard uncertainty of the bow's place across the run, mm.

    The bow is ahead of the middle by `reach`, so a turned heading moves it sideways. track.csv tells nothing of how
    well the heading is known: two ends that are seen each as well as the middle give √2·u over the boat's length;
    where the heading jitters more than that from picture to picture, it is the jitter.
    """
    side = np.array([-normal[1], normal[0]])
    u_middle = np.sqrt((side[0] * told["u_x_mm"]) ** 2 + (side[1] * told["u_y_mm"]) ** 2)
    length = boat.length_mm or 2 * max(reach, 1.0)
    jitter = float(np.std(np.diff(heading, 2)) / math.sqrt(6)) if len(heading) > 4 else 0.0
    u_heading = np.maximum(math.sqrt(2) * u_middle / length, jitter)
    return np.asarray(np.hypot(u_middle, reach * u_heading), np.float64)


def reach_mm(columns: dict[str, Floats], trial: Trial, rig: Rig, boat: Boat) -> tuple[float, float]:
    """How far the bow is ahead of the middle of the waterline, with its standard uncertainty, both in mm."""
    t_ns, heading = columns["t_ns"], np.unwrap(np.radians(columns["heading_deg"]))
    lines = {line.name: ahead(line, rig) for line in rig.lines}
    found: list[tuple[float, float]] = []
    for crossing in trial.crossings:
        line = lines.get(crossing.line)
        if line is None or not t_ns[0] <= crossing.t_ns <= t_ns[-1]:
            continue
        x, y, turn, speed = (
            float(np.interp(crossing.t_ns, t_ns, values))
            for values in (columns["x_mm"], columns["y_mm"], heading, columns["speed_m_per_s"])
        )
        forward = float(line.normal @ (math.cos(turn), math.sin(turn)))
        if forward > 0.5:  # a boat that goes sideways meets the line with its side
            found.append((-float(line.past_mm(np.array([x, y]))) / forward, 1000 * speed * crossing.u_s))
    if not found:
        length = boat.length_mm or 0.0
        return length / 2, 0.05 * length
    weights = [1 / (u**2 + 0.25) for _, u in found]
    mean = sum(w * reach for w, (reach, _) in zip(weights, found, strict=True)) / sum(weights)
    scatter = max(abs(reach - mean) for reach, _ in found)
    return mean, max(scatter, 1 / math.sqrt(sum(weights)))


def outline_of(reach: float, boat: Boat) -> Floats:
    """(5, 2) a plain hull with that bow, from the boat's card; drawn, never measured with."""
    half = 0.5 * (boat.width_mm or 0.4 * max(reach, 1.0) * 2)
    stern = reach - (boat.length_mm or 2 * max(reach, 1.0))
    shoulder = reach - 0.35 * (reach - stern)
    return np.array([(reach, 0.0), (shoulder, half), (stern, 0.8 * half), (stern, -0.8 * half), (shoulder, -half)])


def _end_s(trial: Trial, rig: Rig, zero_ns: int) -> float:
    finish = rig.line("finish")
    reached = [c.t_ns for c in trial.crossings if finish is not None and c.line == finish.name]
    return (max(reached) - zero_ns) / 1e9 + AFTER_S if trial.end_reason == "finish" and reached else math.inf
