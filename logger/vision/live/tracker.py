"""Where the boat is now, to a few millimetres, from pictures reduced fourfold: for the screen and the referee.

What counts is measured afterwards from the stored pictures (tracker.py). Here each picture is compared with a running
idea of the empty tank (live_scene.py), things of the boat's size are outlined in what differs (live_things.py), and
several of them are followed until one is the boat (live_tracks.py). A fix is `measured` only while the boat is of the
size on its card, free of hands, and without a rival; `doubtful` otherwise; `bridged` where it is carried on for a few
pictures in which it was not seen.

A boat with a tag is followed by that (tag.py), and looked at as a thing only now and then: to see whether a hand is on
it, to keep the empty tank up to date, and to find it again.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.config import Boat, Line, Tank
from logger.records import Fix, Frame, Quality
from logger.vision.card import bow_share
from logger.vision.ground import SHRINK
from logger.vision.live.scene import EmptyTank, Floor, reduced
from logger.vision.live.tag import Spot, TagFollower
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
_WHOLE_COUNT, _U_BOW_SHARE = 10, 0.016
"""After so many looks at it as a whole the outline tells where the bow is, within this share of the length."""
_GLANCE_COUNT = 15
"""While its tag is followed, the boat is looked at as a thing in so many pictures once."""
_ITSELF_SHARE = 0.4
"""A thing this share of the length from where the tag says is the boat."""
_LONG = 1.2
"""A hull so much longer than wide has an axis."""
_SURE_FIT, _MOVING_FIT = 0.6, 0.2
"""How well its size must fit: while it waits, maybe with a hand on it, and once it has moved."""


class LiveTracker:
    """Follows one boat through a live film. Feed it every frame, in order of time."""

    def __init__(self, view: View, tank: Tank, boat: Boat, *, start: Line | None = None, delay_s: float = 0.0) -> None:
        """Start with no idea of the scene.

        Args:
            view: the calibrated camera.
            tank: where water is.
            boat: its card; what is missing is guessed. A tag on it is used.
            start: the start line; the boat waits behind it, on the side that is nearer to a wall. Without it, a fix
                before the boat moves is doubtful.
            delay_s: how much later than the truth the camera's stamps are.

        Raises:
            CalibrationError: the card's tag has a number that there is none of.
        """
        told, u = boat.freeboard_mm, boat.u_freeboard_mm
        self._u_freeboard = u if told is not None else _UNKNOWN_FREEBOARD_MM[1]
        self._plane = Plane(view, told if told is not None else _UNKNOWN_FREEBOARD_MM[0])
        self._step = self._plane.step_mm(self._plane.foot_mm) * SHRINK
        self._size = Size(boat, self._step)
        self._boat = boat
        self._floor = Floor(self._plane, tank, start)
        self._delay_ns = round(delay_s * 1e9)
        self._empty: EmptyTank | None = None
        forward_rad = 0.0 if self._floor.forward is None else float(np.arctan2(*self._floor.forward[::-1]))
        self._tracks = Tracks(self._size.length_mm, forward_rad)
        middle = np.array(tank.outline_mm).mean(axis=0)
        ends = self._plane.pixels(np.vstack([middle, middle + np.array([100.0, 0.0])]))
        self._turn_rad = float(np.arctan2(*(ends[1] - ends[0])[::-1]))
        """How the tank's x axis lies in the picture."""
        self._tag = None if boat.tag is None else TagFollower(boat, view, tank, heading_rad=forward_rad)
        self._followed_count = 0
        self._is_held = False
        self._confirmed: Track | None = None
        """The thing that carried the tag when both were seen."""

    def feed(self, frame: Frame) -> Fix | None:
        """The boat's fix in this frame, or None while none is seen."""
        if self._tag is None:
            self._look(frame, None)
            return self._by_thing(frame)
        spot = self._tag.feed(frame, self._near(frame.t_ns))
        self._followed_count = self._followed_count + 1 if spot is not None and spot.is_seen else 0
        if spot is None or self._followed_count % _GLANCE_COUNT == 1:
            found = self._look(frame, spot)
            if spot is not None:
                self._recognise(found, spot, self._tag)
        return self._by_thing(frame) if spot is None else self._by_tag(spot, frame)

    def _look(self, frame: Frame, spot: Spot | None) -> list[Thing]:
        """Things in the picture, which are followed; the empty tank is renewed where the boat is not."""
        small = reduced(frame)[self._floor.cut]
        if self._empty is None:
            self._empty = EmptyTank(self._floor, small)
        seen = self._empty.compared(small)
        boat = self._tracks.boat
        heading = 0.0 if boat is None else boat.heading_rad
        found = things(seen, self._floor, self._size, turn_rad=self._turn_rad - heading)
        self._tracks.feed(found, [self._waits(thing) for thing in found], frame.t_ns)
        near = None if self._empty.is_known else self._boats(frame.t_ns, spot, margin_mm=_HOLDING_MM)
        self._empty.renew(seen, self._boats(frame.t_ns, spot, margin_mm=_MARGIN_MM), near)
        return found

    def _near(self, t_ns: int) -> tuple[float, float, float] | None:
        """Where the boat seems to be as a thing."""
        boat = self._tracks.boat
        return None if boat is None else (*boat.place_mm(t_ns), boat.heading_rad)

    def _recognise(self, found: list[Thing], spot: Spot, tag: TagFollower) -> None:
        """The boat among the things: whether it is held, and how its hull lies."""
        away = [float(np.hypot(*(np.array(thing.place_mm) - spot.place_mm))) for thing in found]
        near = [thing for thing, mm in zip(found, away, strict=True) if mm < _ITSELF_SHARE * self._size.length_mm]
        self._is_held = any(thing.is_held for thing in near)
        if near and self._tracks.boat is not None and near[0] is self._tracks.boat.thing:
            self._confirmed = self._tracks.boat
        whole = [thing for thing in near if thing.size_fit > _SURE_FIT]
        if not whole or self._is_held or not spot.is_seen:
            return
        tag.hull_at(spot, whole[0].place_mm)
        if whole[0].elongation > _LONG:
            tag.turn(whole[0].axis_rad)

    def _waits(self, thing: Thing) -> bool:
        """Whether a thing is where boats wait."""
        u, v = thing.pixel
        zone = self._floor.zone if self._floor.zone is not None else self._floor.water
        return bool(zone[round(v), round(u)])

    def _boats(self, t_ns: int, spot: Spot | None, *, margin_mm: float) -> NDArray[np.uint8]:
        """Not 0 where the boat is, or may be."""
        boats = np.zeros(self._floor.shape, np.uint8)
        places = self._tracks.kept_free(t_ns)
        if spot is not None:
            places.append((*spot.place_mm.tolist(), spot.heading_rad))
        for x, y, heading in places:
            corners = self._size.around(x, y, heading, margin_mm=margin_mm)
            cv2.fillConvexPoly(boats, np.round(self._floor.pixels(corners)).astype(np.int32), 255)
        return boats

    def _by_tag(self, spot: Spot, frame: Frame) -> Fix:
        (xx, xy), (_, yy) = spot.covariance_mm2.tolist()
        return Fix(
            t_ns=frame.row_time_ns(spot.row_px) - self._delay_ns,
            x_mm=float(spot.place_mm[0]),
            y_mm=float(spot.place_mm[1]),
            heading_deg=float(np.degrees(spot.heading_rad)),
            covariance_mm2=(xx, xy, yy),
            quality="bridged" if not spot.is_seen else "doubtful" if self._is_held else "measured",
            source=frame.source,
            bow_mm=spot.bow_mm,
        )

    def _by_thing(self, frame: Frame) -> Fix | None:
        boat = self._tracks.boat
        if boat is None:
            return None
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
            bow_mm=self._bow_mm(boat),
        )

    def _bow_mm(self, boat: Track) -> float | None:
        """By its outline, once it has been seen whole often enough, and by what is usual."""
        if self._boat.length_mm is None or boat.whole_count < _WHOLE_COUNT:
            return None
        usual, u = bow_share(self._boat)
        weight = u**2 / (u**2 + _U_BOW_SHARE**2)
        return self._boat.length_mm * (usual + weight * (boat.bow_share - usual))

    def _quality(self, boat: Track, is_seen: bool) -> Quality:
        if not is_seen:
            return "bridged"
        is_sure = (
            boat.streak_count >= _SURE_COUNT
            and boat.credit > _SURE_CREDIT
            and boat.thing.size_fit > (_MOVING_FIT if boat.has_moved else _SURE_FIT)
            and not boat.thing.is_held
            and (self._tag is None or boat is self._confirmed)
            and not self._tracks.has_rival
            and (boat.has_moved or self._floor.zone is not None)
        )
        return "measured" if is_sure else "doubtful"
