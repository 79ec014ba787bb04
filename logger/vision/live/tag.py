"""Follow the boat's tag while it runs: look where it must be by now, and nowhere else.

Only brightness is decoded, and only the rows down to the tag. Where it is not known it is looked for near what seems to
be the boat, now and then, and more seldom everywhere.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.config import Boat, Tank
from logger.recording import jpeg
from logger.records import Frame
from logger.vision.card import tag_of
from logger.vision.plane import Plane
from logger.vision.tag.cells import Told
from logger.vision.tag.fit import Grey, Motion, Patch, TagFit, fit
from logger.vision.tag.foresight import Course, nearest
from logger.vision.tag.look import Look, Print
from logger.vision.tag.search import Seeker
from logger.vision.tag.track import middle_of

Floats = NDArray[np.float64]

_CARRIED_S = 0.4
"""Unseen for longer it is not where it would be by its motion."""
_AROUND_MM, _QUICKENS_MM_PER_S2 = 30.0, 2000.0
"""So far around it is looked for once it is lost, and more the longer it was not seen."""
_NEAR_EVERY_COUNT, _ANYWHERE_EVERY_COUNT = 6, 24
"""While it is not known, in so many pictures it is looked for once near the boat, and once everywhere."""
_SAME_MM, _CLEAR_LEAD = 25.0, 0.12
"""A number that cannot be read is believed if it is seen again so near, and clearly not turned by a quarter."""
_USUAL_COUNT, _FEWEST_COUNT = 15, 3
"""From so many looks at the hull it is told where its middle lies."""
_FIRST_TURNS = np.linspace(-0.6, 0.6, 7)
_TURNS = np.array([-0.2, 0.0, 0.2])
_CORNERS = np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, -1.0], [-1.0, 1.0]])
_BLOCK_PX, _MARGIN_PX = 16, 16
_ROOM = 0.15
_STEPS_COUNT = 4
_SMEAR_STEPS_MM, _LOOKS_COUNT = 0.5, 100
_TRAVELS_MM_PER_S = 60.0
"""A disc that goes faster is headed as it goes, or the other way: a wall may throw it back."""
_U_TURN_RAD, _U_ASIDE_MM = np.radians(3.0), 1.5
_U_SEEN_MM, _SIDES_SHARE = 4.0, 0.2
"""Standard uncertainty of the middle of a hull as a thing of a reduced picture: shadow and sides pull it. A card that
says the tag is in the middle is off by less: so much is believed of what is seen aside."""


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """The boat as its tag tells."""

    place_mm: Floats
    """(2,) centroid of the waterline."""
    heading_rad: float
    covariance_mm2: Floats
    """(2, 2) of the place, what lasts included."""
    row_px: float
    is_seen: bool
    """False: carried on from where it was."""
    print_mm: Floats
    """(2,) middle of the tag."""
    bow_mm: float | None
    """From the centroid ahead to the bow, if the card says where on deck the tag is."""


class TagFollower:
    """Follows the tag on one boat's card. Feed it every frame, in order of time."""

    def __init__(self, boat: Boat, view: View, tank: Tank, *, heading_rad: float = 0.0) -> None:
        """Start with no idea of where it is.

        Args:
            boat: its card, with a tag.
            view: the calibrated camera.
            tank: where water is.
            heading_rad: of a boat that waits; for a disc.

        Raises:
            CalibrationError: there is no square of that number.
            ValueError: the card tells of no tag.
        """
        if boat.tag is None:
            raise ValueError(f"{boat.name}: no tag on the boat card; one is wanted; add it")
        tag = tag_of(boat, boat.tag)
        self._tag = tag
        self._plane = Plane(view, tag.height_mm or 0.0)
        self._seeker = Seeker(Print(tag), self._plane, np.array(tank.outline_mm))
        middle = middle_of(boat, tag)
        self._card_mm = self._ahead_mm, self._left_mm = -middle.behind_mm, -middle.right_mm
        self._u_card_mm = self._u_along_mm = float(np.linalg.norm([*middle.u_along_mm.values()]))
        self._seen_mm: deque[tuple[float, float]] = deque(maxlen=_USUAL_COUNT)
        self._once: Floats | None = None
        self._rates = np.zeros(3)
        self._reach_mm = self._seeker.print.used_mm * (1.0 if self._seeker.print.is_round else np.sqrt(2))
        self._near_mm = 0.35 * (boat.length_mm or 150.0) + 10.0
        self._course = Course()
        self._first_ns: int | None = None
        self._unknown_count = 0
        self._heading_rad = heading_rad
        self._looks: dict[tuple[int, ...], Look] = {}

    def feed(self, frame: Frame, near: tuple[float, float, float] | None) -> Spot | None:
        """The boat in this frame; None if its tag is not seen, nor was just before.

        Args:
            frame: the next picture.
            near: x, y (mm) and heading (rad) of what may be the boat, for when its tag is not known.
        """
        if self._first_ns is None:
            self._first_ns = frame.t_ns
        t_s = (frame.t_ns - self._first_ns) / 1e9
        if self._course and t_s - self._course.last_s < _CARRIED_S:
            found = self._followed(frame, t_s)
            if found is None:
                pose, _ = self._course.at(t_s)
                if not self._seeker.print.is_round:
                    self._heading_rad = float(pose[2])
                row_px = float(self._plane.pixels(pose[None, :2])[0, 1])
                carried_mm2 = (_AROUND_MM * (t_s - self._course.last_s) / _CARRIED_S) ** 2 * np.eye(2)
                return self._spot(pose[:2], carried_mm2, row_px, is_seen=False)
        else:
            found = self._sought(frame, near)
        if found is None:
            return None
        if self._seeker.print.is_round:
            self._course.add(t_s, replace(found, heading_rad=0.0))
            if np.hypot(*self._rates[:2]) > _TRAVELS_MM_PER_S:
                self.turn(float(np.arctan2(self._rates[1], self._rates[0])))
        else:
            self._heading_rad = nearest(found.heading_rad, self._heading_rad)
            self._course.add(t_s, found)
        return self._spot(found.place_mm, found.covariance[:2, :2], found.row_px, is_seen=True)

    def turn(self, axis_rad: float) -> None:
        """The hull's long axis as it was seen, for a disc, which shows none: the nearer of its two ends is the bow."""
        if self._seeker.print.is_round:
            self._heading_rad += (axis_rad - self._heading_rad + np.pi / 2) % np.pi - np.pi / 2

    def _followed(self, frame: Frame, t_s: float) -> TagFit | None:
        """Where it must be by now; or around."""
        pose, rates = self._course.at(t_s)
        self._rates = rates
        gap_s = t_s - self._course.last_s
        room_mm = self._reach_mm + _ROOM * self._tag.size_mm
        picture = self._grey(frame, self._rows_px(pose[:2], room_mm))
        look = self._look(pose, rates, frame.exposure_ns / 1e9)
        motion = Motion((float(rates[0]), float(rates[1])), frame.line_ns / 1e9)
        patch = Patch(picture, self._plane, pose[:2], room_mm)
        found = fit(
            patch, look, place_mm=pose[:2], heading_rad=float(pose[2]), motion=motion, steps_count=_STEPS_COUNT,
            turns=False,
        )  # fmt: skip
        if found is not None and found.good:
            return found
        reach_mm = _AROUND_MM + 0.5 * _QUICKENS_MM_PER_S2 * gap_s**2
        picture = self._grey(frame, self._rows_px(pose[:2], room_mm + reach_mm))
        headings = pose[2] + (np.zeros(1) if self._seeker.print.is_round else _TURNS)
        return self._seeker.near(picture, pose[:2], headings, reach_mm=reach_mm, look=look, motion=motion)

    def _sought(self, frame: Frame, near: tuple[float, float, float] | None) -> TagFit | None:
        """Near what may be the boat, or anywhere, but not in every picture."""
        self._unknown_count += 1
        if near is not None and self._unknown_count % _NEAR_EVERY_COUNT == 1:
            heading = near[2]
            c, s = np.cos(heading), np.sin(heading)
            x, y = self._ahead_mm, self._left_mm
            place = np.array([near[0] - c * x + s * y, near[1] - s * x - c * y])
            picture = self._grey(frame, self._plane.view.lens.height_px)
            turns = np.zeros(1) if self._seeker.print.is_round else np.asarray(heading + _FIRST_TURNS, np.float64)
            return self._begun(picture, self._seeker.near(picture, place, turns, reach_mm=self._near_mm))
        if self._unknown_count % _ANYWHERE_EVERY_COUNT == 2:
            picture = self._grey(frame, self._plane.view.lens.height_px)
            seen = self._seeker.whole(picture).fits
            return self._begun(picture, seen[0] if len(seen) == 1 else None)
        return None

    def _begun(self, picture: Grey, found: TagFit | None) -> TagFit | None:
        """What was found without knowing where it must be says its number, or is seen twice."""
        before, self._once = self._once, None
        if found is None:
            return None
        if found.sure and self._seeker.says(picture, found) is Told.THIS:
            self._course = Course()
            return found
        if not self._seeker.print.is_round and found.lead > _CLEAR_LEAD:
            if before is not None and np.hypot(*(found.place_mm - before)) < _SAME_MM:
                self._course = Course()
                return found
            self._once = found.place_mm
        return None

    def hull_at(self, spot: Spot, centroid_mm: tuple[float, float]) -> None:
        """Note where the hull's middle was seen while the tag was at `spot`; the card knows where it usually is."""
        c, s = np.cos(spot.heading_rad), np.sin(spot.heading_rad)
        x, y = np.array(centroid_mm) - spot.print_mm
        self._seen_mm.append((float(c * x + s * y), float(c * y - s * x)))
        if len(self._seen_mm) >= _FEWEST_COUNT:
            ahead, left = np.median(self._seen_mm, axis=0).tolist()
            share = self._u_card_mm**2 / (self._u_card_mm**2 + _U_SEEN_MM**2)
            self._ahead_mm = self._card_mm[0] + share * (ahead - self._card_mm[0])
            self._left_mm = self._card_mm[1] + _SIDES_SHARE * (left - self._card_mm[1])
            self._u_along_mm = self._u_card_mm * float(np.sqrt(1 - share))

    def _rows_px(self, place_mm: Floats, reach_mm: float) -> int:
        rows = int(self._plane.view.lens.height_px)
        low = self._plane.pixels(place_mm + reach_mm * _CORNERS)[:, 1].max()
        if not np.isfinite(low):
            return rows
        return int(np.clip(_BLOCK_PX * np.ceil((low + _MARGIN_PX) / _BLOCK_PX), _BLOCK_PX, rows))

    def _grey(self, frame: Frame, rows_px: int) -> Grey:
        """So many upper rows of the picture, or all of it."""
        whole_px = int(self._plane.view.lens.height_px)
        if frame.jpeg is not None:
            upper = (
                jpeg.decode_upper(frame.jpeg, rows_px=rows_px, of_px=whole_px, grey=True)
                if rows_px < whole_px
                else None
            )
            picture = jpeg.decode(frame.jpeg, grey=True) if upper is None else upper
            if picture is not None:
                return picture
        image = frame.image[:rows_px]
        return np.asarray(image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)

    def _look(self, pose: Floats, rates: Floats, exposure_s: float) -> Look:
        """The print as it looks at that speed; looks are kept, as each costs more than a fit."""
        smear = rates[:2] * exposure_s
        c, s = np.cos(pose[2]), np.sin(pose[2])
        own = np.array([c * smear[0] + s * smear[1], c * smear[1] - s * smear[0]])
        key = (*np.round(own / _SMEAR_STEPS_MM).astype(int).tolist(), round(self._plane.step_mm(pose[:2]) / 0.05))
        if key not in self._looks:
            if len(self._looks) >= _LOOKS_COUNT:
                self._looks.clear()
            self._looks[key] = self._seeker.look(pose[:2], np.array(key[:2]) * _SMEAR_STEPS_MM)
        return self._looks[key]

    def _spot(self, print_mm: Floats, random_mm2: Floats, row_px: float, *, is_seen: bool) -> Spot:
        heading = self._heading_rad
        c, s = np.cos(heading), np.sin(heading)
        ahead, left = np.array([c, s]), np.array([-s, c])
        place = print_mm + self._ahead_mm * ahead + self._left_mm * left
        by_height = self._plane.lowered(print_mm[None], self._plane.z_mm + self._tag.u_height_mm)[0] - print_mm
        u_across = float(np.hypot(_U_ASIDE_MM, _U_TURN_RAD * self._ahead_mm))
        covariance = random_mm2 + np.outer(by_height, by_height)
        covariance = covariance + self._u_along_mm**2 * np.outer(ahead, ahead) + u_across**2 * np.outer(left, left)
        bow_mm = None if self._tag.bow_ahead_mm is None else self._tag.bow_ahead_mm - self._ahead_mm
        return Spot(place, heading, np.asarray(covariance, np.float64), row_px, is_seen, print_mm, bow_mm)
