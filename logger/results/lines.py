"""Which way is forward, and where along it the lines stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.quantity import Quantity, Source
from logger.config import KindOfRun, Line, Rig

Floats = NDArray[np.float64]


def start_line(rig: Rig) -> Line | None:
    """Where the run begins."""
    return rig.line("start")


def end_line(rig: Rig, kind: KindOfRun) -> Line | None:
    """Where the timed part ends: the mark line in a drift run, the finish line in every other."""
    if kind == "drift":
        return rig.line("mark") or rig.line("finish")
    return rig.line("finish") or rig.line("mark")


@dataclass(frozen=True, slots=True)
class Ahead:
    """One line as a boat meets it: a point on it, unit normal (2,) in the direction of travel; tank frame, mm."""

    line: Line
    middle_mm: Floats
    normal: Floats

    def past_mm(self, points_mm: Floats) -> Floats:
        """How far `points_mm` (..., 2) are past the line; negative before it."""
        past: Floats = (points_mm - self.middle_mm) @ self.normal
        return past

    def along_mm(self, points_mm: Floats) -> Floats:
        """Where `points_mm` (..., 2) lie along the line, from its middle."""
        tangent = np.array([-self.normal[1], self.normal[0]])
        along: Floats = (points_mm - self.middle_mm) @ tangent
        return along

    @property
    def half_length_mm(self) -> float:
        """Half of the line's length."""
        return float(np.hypot(*(np.subtract(self.line.b_mm, self.line.a_mm)))) / 2


def ahead(line: Line, rig: Rig) -> Ahead:
    """The line with its normal turned the way the boats go: from the start line to the last line, else along +x."""
    a, b = np.array(line.a_mm), np.array(line.b_mm)
    normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.hypot(*(b - a))
    if normal @ travel(rig) < 0:
        normal = -normal
    return Ahead(line, (a + b) / 2, normal)


def travel(rig: Rig) -> Floats:
    """Unit vector (2,) from the middle of the start line to the middle of the finish line, else the mark line."""
    first, last = rig.line("start"), rig.line("finish") or rig.line("mark")
    if first is None or last is None:
        return np.array([1.0, 0.0])
    way = (np.add(last.a_mm, last.b_mm) - np.add(first.a_mm, first.b_mm)) / 2
    length = float(np.hypot(*way))
    return way / length if length > 0 else np.array([1.0, 0.0])


def place_source(line: Line) -> Source:
    """The doubt of where the line is; a shift of +1 u is in the direction of travel."""
    return Source(f"{line.name} line place")


def distance_between(first: Line, last: Line, rig: Rig) -> Quantity:
    """From line to line along the mean of their normals, in mm; both lines' places are in it."""
    a, b = ahead(first, rig), ahead(last, rig)
    normal = (a.normal + b.normal) / np.hypot(*(a.normal + b.normal))
    distance = float((b.middle_mm - a.middle_mm) @ normal)
    return Quantity(distance, "mm", {place_source(first): -first.u_mm, place_source(last): last.u_mm})
