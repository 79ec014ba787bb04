"""Where the boat is at any time: a curved path, the motion along it, and the hull on it. This is the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import brentq

from logger.simulator.hull import Hull
from logger.simulator.physics import Drag, Motion, Push

Floats = NDArray[np.float64]


class Path:
    """A gently winding path of the centroid, by the way along it. The heading is its direction plus a steady leeway."""

    def __init__(
        self,
        *,
        start_mm: tuple[float, float],
        course_rad: float,
        leeway_rad: float,
        bends: tuple[tuple[float, float, float], ...],
        length_mm: float,
    ) -> None:
        """Lay the path.

        Args:
            start_mm: where the centroid stands when the boat is armed.
            course_rad: mean direction, from +x anticlockwise.
            leeway_rad: heading minus direction of motion.
            bends: (angle in rad, wavelength in mm, phase in rad) of each slow swing of the direction.
            length_mm: how much of it is wanted, forward from the start.
        """
        self._course, self._leeway, self._bends = course_rad, leeway_rad, bends
        step = 2.0
        way = np.arange(-100.0, length_mm + step, step)
        nodes, weights = np.polynomial.legendre.leggauss(5)
        inner = (way[:-1, None] + step / 2 + nodes * step / 2).ravel()
        direction = self._direction(inner).reshape(-1, 5)
        pieces = np.stack([np.cos(direction) @ weights, np.sin(direction) @ weights], axis=1) * step / 2
        points = np.vstack([[0.0, 0.0], np.cumsum(pieces, axis=0)])
        points += np.asarray(start_mm) - points[np.argmin(np.abs(way))]
        slope = np.stack([np.cos(self._direction(way)), np.sin(self._direction(way))], axis=1)
        self._curve = CubicHermiteSpline(way, points, slope)

    def _direction(self, way_mm: Floats) -> Floats:
        swing = np.zeros_like(way_mm)
        for angle, wavelength, phase in self._bends:
            swing = swing + angle * np.sin(2 * np.pi * way_mm / wavelength + phase)
        return self._course + swing

    def at(self, way_mm: ArrayLike) -> Floats:
        """(N, 3) centroid x, y in mm and heading in rad at `way_mm` (N,) along the path."""
        way = np.atleast_1d(np.asarray(way_mm, np.float64))
        return np.column_stack([self._curve(way), self._direction(way) + self._leeway])


@dataclass(frozen=True, slots=True)
class TrueLine:
    """A line as it truly lies: the points p with normal·p = place; the normal points along the run."""

    name: str
    role: str
    place_mm: float
    normal_rad: float = 0.0

    @property
    def normal(self) -> Floats:
        """(2,) unit vector across the line, in the direction of travel."""
        return np.array([np.cos(self.normal_rad), np.sin(self.normal_rad)])


@dataclass(frozen=True, slots=True, eq=False)
class Voyage:
    """One boat on one path in one run. Times are seconds on the recording's own clock."""

    path: Path
    motion: Motion
    hull: Hull
    go_s: float
    push: Push | None = None
    """What somebody did to it on the way; the motion knows it already."""
    drag: Drag | None = None
    """What resisted it; the motion knows it already."""

    def pose(self, t_s: ArrayLike) -> Floats:
        """(N, 3) waterline centroid x, y in mm and heading in rad."""
        return self.path.at(self.motion.at(np.asarray(t_s, np.float64) - self.go_s)[0])

    def speed(self, t_s: ArrayLike) -> Floats:
        """(N,) speed of the centroid, mm/s, never negative."""
        return np.asarray(np.abs(self.motion.at(np.asarray(t_s, np.float64) - self.go_s)[1]))

    def bow(self, t_s: ArrayLike, *, normal_rad: float) -> Floats:
        """(N, 2) foremost waterline point in the direction `normal_rad`, tank frame, mm."""
        pose = self.pose(t_s)
        return pose[:, :2] + _turned(self.hull.foremost_mm(normal_rad - pose[:, 2]), pose[:, 2])

    def front(self, t_s: ArrayLike, line: TrueLine) -> Floats:
        """(N,) how far the bow is past `line`, mm."""
        return np.asarray(_reach(self.pose(t_s), self.hull, line.normal_rad) - line.place_mm)

    def rear(self, t_s: ArrayLike, line: TrueLine) -> Floats:
        """(N,) how far the stern is past `line`, mm."""
        return np.asarray(-_reach(self.pose(t_s), self.hull, line.normal_rad + np.pi) - line.place_mm)

    def front_changes_s(self, line: TrueLine, *, until_s: float) -> list[tuple[float, bool]]:
        """Moments at which the bow passes `line`, each with True for forward."""
        return _changes(lambda t: self.front(t, line), self.go_s, until_s)

    def rear_changes_s(self, line: TrueLine, *, until_s: float) -> list[tuple[float, bool]]:
        """Moments at which the stern passes `line`, each with True for forward."""
        return _changes(lambda t: self.rear(t, line), self.go_s, until_s)

    def crossing_s(self, line: TrueLine, *, until_s: float) -> float | None:
        """When the bow first reaches `line`, or None if it does not by `until_s`."""
        moments = self.front_changes_s(line, until_s=until_s)
        return next((moment for moment, forward in moments if forward), None)

    def meets_s(self, wall_mm: float, *, until_s: float) -> float | None:
        """When the bow touches the end wall at x = `wall_mm`, or None if not by `until_s`.

        It turns back in the same instant, so that no search among moments finds it: a stage of the motion begins there.
        """
        wall = TrueLine("wall", "wall", wall_mm)
        moments = (begin + self.go_s for begin in self.motion.begins_s[1:])
        return next((t for t in moments if t <= until_s and self.front([t], wall)[0] > -1e-5), None)

    def path_mm(self, from_s: float, to_s: float) -> float:
        """Length of the centroid's path between two times, mm: the way, there and back."""
        begins = [b + self.go_s for b in self.motion.begins_s if from_s < b + self.go_s < to_s]
        way = self.motion.at(np.array([from_s, *begins, to_s]) - self.go_s)[0]
        return float(np.abs(np.diff(way)).sum())

    def slower_s(self, speed_mm_per_s: float, *, until_s: float) -> float | None:
        """When the boat, having moved, is slower than `speed_mm_per_s` for good, or None if not by `until_s`."""
        times = _grid(self.go_s, until_s)
        fast = np.flatnonzero(self.speed(times) >= speed_mm_per_s)
        if not fast.size or fast[-1] + 1 >= len(times):
            return None
        low, high = float(times[fast[-1]]), float(times[fast[-1] + 1])
        for begin in self.motion.begins_s:
            if low < begin + self.go_s <= high and self.speed([begin + self.go_s])[0] < speed_mm_per_s:
                return begin + self.go_s
        return float(brentq(lambda t: self.speed([t])[0] - speed_mm_per_s, low, high, xtol=1e-12))


def _reach(pose: Floats, hull: Hull, angle_rad: float) -> Floats:
    along: Floats = pose[:, 0] * np.cos(angle_rad) + pose[:, 1] * np.sin(angle_rad)
    return along + hull.support_mm(angle_rad - pose[:, 2])


def _turned(points: Floats, angle_rad: Floats) -> Floats:
    """(N, 2) points, each turned by its own angle."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.column_stack([c * points[:, 0] - s * points[:, 1], s * points[:, 0] + c * points[:, 1]])


def _grid(from_s: float, until_s: float) -> Floats:
    return np.linspace(from_s, until_s, max(2, round((until_s - from_s) / 0.01)))


def _changes(past: Callable[[Floats], Floats], from_s: float, until_s: float) -> list[tuple[float, bool]]:
    """Sign changes of `past`, each refined to far below a nanosecond's worth of way."""
    times = _grid(from_s, until_s)
    ahead = past(times) >= 0
    found = []
    for n in np.flatnonzero(ahead[1:] != ahead[:-1]):
        moment = brentq(lambda t: float(past(np.array([t]))[0]), times[n], times[n + 1], xtol=1e-12)
        found.append((float(moment), bool(ahead[n + 1])))
    return found
