"""Where the boat is now, to a few millimetres, from pictures reduced fourfold: for the screen and the referee.

What counts is measured afterwards from the stored pictures (tracker.py). Here each picture is compared with a running
idea of the empty tank, which is renewed slowly and never under the boat, so that a boat at rest does not melt into it.
The first picture has the boat in it, waiting: the thing of its size that stands out most from its surroundings is taken
out of the empty tank and filled in from around. What was there in truth is seen when the boat is clear of the place. If
the thing never moves and another does, the other is the boat.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.config import Boat, Line, Tank
from logger.records import Fix, Frame
from logger.vision import outline, sightings
from logger.vision.background import Mask
from logger.vision.ground import inside
from logger.vision.plane import Plane, Singles
from logger.vision.sightings import Sighting

Floats = NDArray[np.float64]

_SHRINK = 4
_RENEWAL = 0.02
"""Share of the empty tank that one picture renews."""
_UNKNOWN_FREEBOARD_MM = (15.0, 9.0)
_UNKNOWN_SIZE_MM = 100.0
_FASTEST_MM_PER_S = 2500.0
_FORGOTTEN_S = 2.0
"""After so long unseen, the boat may be anywhere."""
_U_PX = 0.5
"""Standard uncertainty of a blob's middle, pixels of the reduced picture."""


@dataclass(slots=True)
class _Seen:
    """The last place, kept from picture to picture."""

    t_ns: int
    place_mm: Floats
    heading_rad: float
    velocity_mm_per_s: Floats


class LiveTracker:
    """Follows one boat through a live film. Feed it every frame, in order of time."""

    def __init__(self, view: View, tank: Tank, boat: Boat, *, start: Line | None = None, delay_s: float = 0.0) -> None:
        """Start with no idea of the scene.

        Args:
            view: the calibrated camera.
            tank: where water is.
            boat: its card; what is missing is guessed.
            start: the start line; the boat waits behind it, on the side that is nearer to a wall. Without it, a fix
                before the boat moves is doubtful.
            delay_s: how much later than the truth the camera's stamps are.
        """
        told, u = boat.freeboard_mm, boat.u_freeboard_mm
        self._u_freeboard = u if told is not None else _UNKNOWN_FREEBOARD_MM[1]
        self._plane = Plane(view, told if told is not None else _UNKNOWN_FREEBOARD_MM[0])
        self._step = self._plane.step_mm(self._plane.foot_mm) * _SHRINK
        whole = boat.length_mm is not None and boat.width_mm is not None
        size = float(np.sqrt(0.8 * (boat.length_mm or 0) * (boat.width_mm or 0))) if whole else _UNKNOWN_SIZE_MM
        self._size_px = max(2.5, size / self._step)
        self._reach_px = max(boat.length_mm or 0.0, 1.3 * size) / 2 / self._step + 2
        self._delay_ns = round(delay_s * 1e9)
        self._tank = _water(self._plane, tank)
        self._empty: Singles | None = None
        self._last: _Seen | None = None
        self._filled_px: tuple[float, float] | None = None
        self._waits = True
        self._behind = None if start is None else self._tank & _side(self._plane, start, tank)

    def feed(self, frame: Frame) -> Fix | None:
        """The boat's fix in this frame, or None while none is seen."""
        small = _reduced(frame)
        if self._empty is None or self._empty.shape != small.shape:
            self._empty = self._without_boat(small)
        apart, noise = sightings.differences(small[None], self._empty)
        seen = self._chosen(
            sightings.candidates(apart[0], noise=noise, size_px=self._size_px, tank=self._tank), frame.t_ns
        )
        fix = None if seen is None else self._fix(apart[0], noise, seen, frame)
        self._renew(small, seen)
        return fix

    def _without_boat(self, small: NDArray[np.uint8]) -> Singles:
        """The first picture with the boat that waits in it filled in from its surroundings."""
        window = min(255, 2 * round(1.6 * self._reach_px) + 1)
        around = cv2.medianBlur(small, window).astype(np.float32)
        empty = small.astype(np.float32)
        apart, noise = sightings.differences(small[None], around)
        brush = np.ones((2 * round(0.3 * self._size_px) + 1,) * 2, np.uint8)
        room = cv2.erode((self._tank if self._behind is None else self._behind).astype(np.uint8), brush)
        where = np.asarray(room > 0, np.bool_)
        waiting = sightings.candidates(apart[0], noise=noise, size_px=self._size_px, tank=where)
        if waiting:
            hole = np.zeros(small.shape, np.uint8)
            centre = (round(waiting[0].u), round(waiting[0].v))
            cv2.circle(hole, centre, round(1.1 * self._reach_px), 255, -1)
            empty[hole > 0] = around[hole > 0]
            self._filled_px = (waiting[0].u, waiting[0].v)
        return empty

    def _chosen(self, found: list[Sighting], t_ns: int) -> Sighting | None:
        """The candidate that is the boat: the one nearest to where it must be, or at first the foremost strong one."""
        strong = [s for s in found if s.strength > 0.4 * found[0].strength]
        if not strong:
            return None
        if self._filled_px is not None and len(strong) > 1:
            moving = [s for s in strong if self._from_filled(s) > self._reach_px]
            if moving and self._last is not None and self._waits:
                self._last = None
                strong = moving
        places = self._plane.points(np.array([_full(s) for s in strong]))
        last = self._last
        if last is None or t_ns - last.t_ns > _FORGOTTEN_S * 1e9:
            return strong[0]
        passed_s = (t_ns - last.t_ns) / 1e9
        off = np.hypot(*(places - last.place_mm - passed_s * last.velocity_mm_per_s).T)
        nearest = int(np.argmin(off))
        room = 2 * self._size_px * self._step + passed_s * _FASTEST_MM_PER_S
        return strong[nearest] if off[nearest] < room else None

    def _fix(self, apart: Singles, noise: float, seen: Sighting, frame: Frame) -> Fix | None:
        border = self._border(apart, noise, seen)
        if border is None:
            return None
        polygon = outline.convex(self._plane.points(border))
        area, centre, second = outline.moments(polygon)
        if area <= 0:
            return None
        t_ns = frame.row_time_ns(float(self._plane.pixels(centre[None])[0, 1])) - self._delay_ns
        heading = self._moved(t_ns, centre, second)
        place = centre
        u2 = (_U_PX * self._step) ** 2
        away = (place - self._plane.foot_mm) * self._u_freeboard / self._plane.height_mm
        return Fix(
            t_ns=t_ns,
            x_mm=float(place[0]),
            y_mm=float(place[1]),
            heading_deg=float(np.degrees(heading)),
            covariance_mm2=(float(u2 + away[0] ** 2), float(away[0] * away[1]), float(u2 + away[1] ** 2)),
            quality="measured" if seen.strength > 0.3 and (self._behind is not None or not self._waits) else "doubtful",
            source=frame.source,
        )

    def _border(self, apart: Singles, noise: float, seen: Sighting) -> Floats | None:
        """Border (N, 2), pixels of the full picture, of what differs around the sighting."""
        u0, v0 = max(0, int(seen.u - self._reach_px)), max(0, int(seen.v - self._reach_px))
        u1, v1 = int(seen.u + self._reach_px) + 2, int(seen.v + self._reach_px) + 2
        around = cv2.resize(apart[v0:v1, u0:u1], None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
        middle = around[around > np.percentile(around, 75)]
        mask = (around > max(0.5 * float(np.median(middle)), 4 * noise)).astype(np.uint8)
        pieces, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        if not pieces:
            return None
        largest = max(len(piece) for piece in pieces)
        border = np.vstack([piece[:, 0] for piece in pieces if len(piece) > 0.4 * largest]).astype(np.float64)
        small = (border + 0.5) / 2 - 0.5 + (u0, v0)
        full: Floats = (small + 0.5) * _SHRINK - 0.5
        return full

    def _moved(self, t_ns: int, place: Floats, second: Floats) -> float:
        """Take note of the new place; the heading is the long axis, its bow where the boat goes."""
        axis_rad, elongation = outline.axis(second)
        last = self._last
        if last is None:
            heading = 0.0
            velocity = np.zeros(2)
        else:
            passed_s = max((t_ns - last.t_ns) / 1e9, 1e-3)
            velocity = 0.7 * last.velocity_mm_per_s + 0.3 * (place - last.place_mm) / passed_s
            heading = last.heading_rad
        if np.hypot(*velocity) > 50:
            heading = float(np.arctan2(velocity[1], velocity[0]))
        if elongation > 1.15:
            heading += float((axis_rad - heading + np.pi / 2) % np.pi - np.pi / 2)
        self._last = _Seen(t_ns, place, heading, velocity)
        return heading

    def _from_filled(self, seen: Sighting) -> float:
        """How far a sighting is from where the boat waited, small pixels."""
        if self._filled_px is None:
            return np.inf
        return float(np.hypot(seen.u - self._filled_px[0], seen.v - self._filled_px[1]))

    def _renew(self, small: NDArray[np.uint8], seen: Sighting | None) -> None:
        if self._empty is None:
            return
        water = np.full(small.shape, 255, np.uint8)
        if seen is not None:
            cv2.circle(water, (round(seen.u), round(seen.v)), round(1.3 * self._reach_px), 0, -1)
            if self._filled_px is not None and self._from_filled(seen) > self._reach_px:
                self._waits = False
            if self._filled_px is not None and self._from_filled(seen) > 2.5 * self._reach_px:
                healed = np.zeros(small.shape, np.uint8)
                centre = (round(self._filled_px[0]), round(self._filled_px[1]))
                cv2.circle(healed, centre, round(1.3 * self._reach_px), 255, -1)
                fresh = (healed > 0) & (water > 0)
                self._empty[fresh] = small[fresh]
                self._filled_px = None
        cv2.accumulateWeighted(small, self._empty, _RENEWAL, water)


def _reduced(frame: Frame) -> NDArray[np.uint8]:
    """The frame in grey at a quarter of its size; from the JPEG itself where there is one, which is quicker."""
    if frame.jpeg is not None:
        small = cv2.imdecode(np.frombuffer(frame.jpeg, np.uint8), cv2.IMREAD_REDUCED_GRAYSCALE_4)
        if small is not None:
            return np.asarray(small, np.uint8)
    size = (-(-frame.image.shape[1] // _SHRINK), -(-frame.image.shape[0] // _SHRINK))
    small = cv2.resize(frame.image, size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_BGR2GRAY) if small.ndim == 3 else small, np.uint8)


def _full(seen: Sighting) -> tuple[float, float]:
    return (seen.u + 0.5) * _SHRINK - 0.5, (seen.v + 0.5) * _SHRINK - 0.5


def _places(plane: Plane) -> tuple[Floats, tuple[int, int]]:
    """Where every pixel of the reduced picture lies on the plane, and the reduced picture's shape."""
    lens = plane.view.lens
    shape = (-(-lens.height_px // _SHRINK), -(-lens.width_px // _SHRINK))
    v, u = np.indices(shape)
    small = np.column_stack([u.ravel(), v.ravel()]).astype(np.float64)
    return plane.points((small + 0.5) * _SHRINK - 0.5), shape


def _water(plane: Plane, tank: Tank) -> Mask:
    places, shape = _places(plane)
    return inside(places, np.array(tank.outline_mm)).reshape(shape)


def _side(plane: Plane, start: Line, tank: Tank) -> Mask:
    """The smaller part of the tank beside the start line, and a hand's breadth beyond the line."""
    a, b = np.array(start.a_mm), np.array(start.b_mm)
    along = (b - a) / np.hypot(*(b - a))
    normal = np.array([along[1], -along[0]])
    corners = (np.array(tank.outline_mm) - a) @ normal
    if corners.max() < -corners.min():
        normal = -normal
    places, shape = _places(plane)
    return np.asarray((places - a) @ normal < 80, np.bool_).reshape(shape)
