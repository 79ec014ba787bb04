"""Where the boat is now, to a few millimetres, from pictures reduced fourfold: for the screen and the referee.

What counts is measured afterwards from the stored pictures (tracker.py). Here each picture is compared with a running
idea of the empty tank (live_scene.py), things of the boat's size are outlined in what differs (live_things.py), and
several of them are followed until one is the boat (live_tracks.py). A fix is `measured` only while the boat is of the
size on its card, free of hands, and without a rival; `doubtful` otherwise; `bridged` where it is carried on for a few
pictures in which it was not seen.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.config import Boat, Line, Tank
from logger.records import Fix, Frame, Quality
from logger.vision.ground import SHRINK
from logger.vision.live.scene import EmptyTank, Floor, reduced
from logger.vision.live.things import Size, Thing, things
from logger.vision.live.tracks import Track, Tracks
from logger.vision.plane import Plane

Floats = NDArray[np.float64]

_UNKNOWN_FREEBOARD_MM = (15.0, 9.0)
_U_PX = 0.5
"""Standard uncertainty of a blob's middle, pixels of the reduced picture."""
_MARGIN_MM = 22.0
"""So far around it a boat's place is not renewed."""
_HOLDING_MM = 70.0
"""So far around it there may be a hand in the first picture."""
_BRIDGED_NS = 300_000_000
_SURE_COUNT = 3
"""So many pictures in a row the boat is seen before a fix counts as measured."""
_SURE_CREDIT = 0.25
_SURE_FIT, _MOVING_FIT = 0.6, 0.2
"""How well its size must fit: while it waits, maybe with a hand on it, and once it has moved."""


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
        self._step = self._plane.step_mm(self._plane.foot_mm) * SHRINK
        self._size = Size(boat, self._step)
        self._floor = Floor(self._plane, tank, start)
        self._delay_ns = round(delay_s * 1e9)
        self._empty: EmptyTank | None = None
        forward_rad = 0.0 if self._floor.forward is None else float(np.arctan2(*self._floor.forward[::-1]))
        self._tracks = Tracks(self._size.length_mm, forward_rad)
        middle = np.array(tank.outline_mm).mean(axis=0)
        ends = self._plane.pixels(np.vstack([middle, middle + np.array([100.0, 0.0])]))
        self._turn_rad = float(np.arctan2(*(ends[1] - ends[0])[::-1]))
        """How the tank's x axis lies in the picture."""

    def feed(self, frame: Frame) -> Fix | None:
        """The boat's fix in this frame, or None while none is seen."""
        small = reduced(frame)[self._floor.cut]
        if self._empty is None:
            self._empty = EmptyTank(self._floor, small)
        seen = self._empty.compared(small)
        boat = self._tracks.boat
        heading = 0.0 if boat is None else boat.heading_rad
        found = things(seen, self._floor, self._size, turn_rad=self._turn_rad - heading)
        self._tracks.feed(found, [self._waits(thing) for thing in found], frame.t_ns)
        near = None if self._empty.is_known else self._boats(frame.t_ns, margin_mm=_HOLDING_MM)
        self._empty.renew(seen, self._boats(frame.t_ns, margin_mm=_MARGIN_MM), near)
        boat = self._tracks.boat
        return None if boat is None else self._fix(boat, frame)

    def _waits(self, thing: Thing) -> bool:
        """Whether a thing is where boats wait."""
        u, v = thing.pixel
        zone = self._floor.zone if self._floor.zone is not None else self._floor.water
        return bool(zone[round(v), round(u)])

    def _boats(self, t_ns: int, *, margin_mm: float) -> NDArray[np.uint8]:
        """Not 0 where the boat is, or may be."""
        boats = np.zeros(self._floor.shape, np.uint8)
        for x, y, heading in self._tracks.kept_free(t_ns):
            corners = self._size.around(x, y, heading, margin_mm=margin_mm)
            cv2.fillConvexPoly(boats, np.round(self._floor.pixels(corners)).astype(np.int32), 255)
        return boats

    def _fix(self, boat: Track, frame: Frame) -> Fix | None:
        is_seen = boat.t_ns == frame.t_ns
        if not is_seen and frame.t_ns - boat.t_ns > _BRIDGED_NS:
            return None
        place = np.array(boat.place_mm(frame.t_ns))
        t_ns = frame.row_time_ns(float(self._plane.pixels(place[None])[0, 1])) - self._delay_ns
        u2 = (_U_PX * self._step) ** 2
        away = (place - self._plane.foot_mm) * self._u_freeboard / self._plane.height_mm
        return Fix(
            t_ns=t_ns,
            x_mm=float(place[0]),
            y_mm=float(place[1]),
            heading_deg=float(np.degrees(boat.heading_rad)),
            covariance_mm2=(float(u2 + away[0] ** 2), float(away[0] * away[1]), float(u2 + away[1] ** 2)),
            quality=self._quality(boat, is_seen),
            source=frame.source,
        )

    def _quality(self, boat: Track, is_seen: bool) -> Quality:
        if not is_seen:
            return "bridged"
        is_sure = (
            boat.streak_count >= _SURE_COUNT
            and boat.credit > _SURE_CREDIT
            and boat.thing.size_fit > (_MOVING_FIT if boat.has_moved else _SURE_FIT)
            and not boat.thing.is_held
            and not self._tracks.has_rival
            and (boat.has_moved or self._floor.zone is not None)
        )
        return "measured" if is_sure else "doubtful"
