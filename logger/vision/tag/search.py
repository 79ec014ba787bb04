"""Find the print in a picture: anywhere, by its number or as a disc of its size; or near where it must be."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.light import PLAIN
from logger.vision.plane import Plane, Singles
from logger.vision.tag.cells import Told, told
from logger.vision.tag.fit import STILL, Grey, Motion, Patch, TagFit, fit
from logger.vision.tag.look import Look, Print
from logger.vision.tag.reader import Options, Reader, Sign

Floats = NDArray[np.float64]

USUAL_BLUR_PX = 0.7
"""Lens and pixel together, standard deviation, until the run has shown it."""
_LEAST_PX, _LEAST_SHARE = 8.0, 0.5
"""Squares smaller than this share of the expected side are not looked for."""
_MARGIN_MM = 15.0
"""So far beyond the tank's wall a print may seem to lie."""
_STEPS_COUNT = 10
_LEAST_SCORE, _KEPT_COUNT = 0.45, 4
_APART = 0.35
"""Two answers less than this share of the size apart are one."""
_LEAST_LEAD = 0.07
"""A rival somewhere else must match worse by this."""
_MOST_SCORE = 1.01
_TURN_RAD = np.pi / 12
_SMALL_PX = 14
"""In a picture that is searched as a whole a print is so large."""
_SPOT_SCORE, _SPOT_DEPTH = 0.38, 0.15
"""What is less like it, or takes away a smaller share of the paper's light than ink would, is not looked at."""
_SPOTS_COUNT, _ROUND_SPOTS_COUNT = 8, 24
"""So many likely places are: many things are round, and a disc is told quickly ..."""
_NO_RIVAL = 0.6
"""... but none that is so much less likely than a good one."""
_CLEAR_LEAD = 0.12
"""So much better than in any other quarter turn it must match where no number was read."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What a look at a whole picture finds."""

    fits: tuple[TagFit, ...] = ()
    """Good ones, the best first."""
    others: tuple[Sign, ...] = ()
    """Squares of other numbers."""
    sides_mm: tuple[float, ...] = field(default=())
    """How long the sides of squares of the wanted number seem on the print's plane."""


class Seeker:
    """Looks for one print on one plane."""

    def __init__(self, print_: Print, plane: Plane, tank_mm: Floats, *, blur_px: float = USUAL_BLUR_PX) -> None:
        self.print, self.plane, self.blur_px = print_, plane, blur_px
        self._tank = tank_mm
        least = max(_LEAST_PX, _LEAST_SHARE * print_.tag.size_mm / plane.step_mm(plane.foot_mm))
        self._readers = {n: Reader(Options(enlarged_count=n, least_px=least)) for n in (1, 2)}
        self._reach_mm = print_.used_mm * (1.0 if print_.is_round else np.sqrt(2))

    def look(self, place_mm: Floats, smear_mm: Floats | None = None) -> Look:
        """The print's look at a place of the plane."""
        return self.print.look(blur_mm=self.blur_px * self.plane.step_mm(place_mm), smear_mm=smear_mm)

    def whole(self, picture: Grey, *, enlarged_count: int = 1) -> Seen:
        """The print wherever it is in `picture`."""
        if self.print.is_round:
            return Seen(tuple(self._anywhere(picture)))
        signs = self._readers[enlarged_count].read(picture)
        wanted = [sign for sign in signs if sign.number == self.print.tag.number]
        fits, sides = [], []
        for sign in wanted:
            corners = self.plane.points(sign.corners_px)
            if not self._is_near_tank(corners.mean(axis=0)):
                continue
            sides.append(float(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).mean()))
            ahead = corners[:2].mean(axis=0) - corners[2:].mean(axis=0)
            found = self.at(picture, corners.mean(axis=0), float(np.arctan2(ahead[1], ahead[0])))
            if found is not None and found.good and self.says(picture, found) is not Told.OTHER:
                fits.append(found)
        others = tuple(
            sign
            for sign in signs
            if sign.number != self.print.tag.number
            and self._is_near_tank(self.plane.points(sign.corners_px).mean(axis=0))
        )
        return Seen(tuple(sorted(fits, key=lambda f: -f.match_share)), others, tuple(sides))

    def alike(self, picture: Grey) -> Seen:
        """The same without reading numbers: whatever looks like it."""
        return Seen(tuple(self._anywhere(picture)))

    def at(
        self, picture: Grey, place_mm: Floats, heading_rad: float, *, look: Look | None = None, motion: Motion = STILL
    ) -> TagFit | None:
        """The best fit from one start."""
        patch = Patch(picture, self.plane, place_mm, self._reach_mm + 0.3 * self.print.tag.size_mm)
        look = look or self.look(place_mm)
        return fit(patch, look, place_mm=place_mm, heading_rad=heading_rad, motion=motion, steps_count=_STEPS_COUNT)

    def near(
        self,
        picture: Grey,
        place_mm: Floats,
        headings_rad: Floats,
        *,
        reach_mm: float,
        look: Look | None = None,
        motion: Motion = STILL,
    ) -> TagFit | None:
        """The print within `reach_mm`, in one of several headings; None if it is not there, or in two places."""
        look = look or self.look(place_mm)
        around = Patch(picture, self.plane, place_mm, reach_mm + self._reach_mm)
        if around.is_empty or min(around.grey.shape) < 8:
            return None
        starts: list[tuple[float, Floats, float]] = []
        dx, dy = self._offsets(place_mm)
        if not np.isfinite(dx).all():
            return None
        for heading in headings_rad.tolist():
            ink, covered = _turned(look, dx, dy, heading)
            starts += self._peaks(around, 1 - ink, covered, heading)
        starts.sort(key=lambda start: -start[0])
        found: list[TagFit] = []
        for _, start, heading in starts[:_KEPT_COUNT]:
            one = self.at(picture, start, heading, look=look, motion=motion)
            if one is not None:
                found.append(one)
        return self._unrivalled(picture, found)

    def says(self, picture: Grey, found: TagFit) -> Told:
        """Whether the cells at that place are those of the wanted number; a disc has none, it is always this one."""
        if self.print.is_round:
            return Told.THIS
        return told(picture, self.plane, self.print.tag, place_mm=found.place_mm, heading_rad=found.heading_rad)

    def _unrivalled(self, picture: Grey, found: list[TagFit]) -> TagFit | None:
        if not found:
            return None
        best = max(found, key=lambda f: f.match_share)
        for other in found:
            apart = np.hypot(*(other.place_mm - best.place_mm))
            if apart > _APART * self.print.tag.size_mm and other.match_share > best.match_share - _LEAST_LEAD:
                return None
        return best if best.good and self.says(picture, best) is not Told.OTHER else None

    def _peaks(
        self, around: Patch, template: Singles, mask: Singles, heading: float
    ) -> list[tuple[float, Floats, float]]:
        """(score, place, heading) of the likeliest places in a window."""
        if template.shape[0] >= around.light.shape[0] or template.shape[1] >= around.light.shape[1]:
            return []
        scores = cv2.matchTemplate(around.light, template, cv2.TM_CCOEFF_NORMED, mask=mask)
        scores[~np.isfinite(scores) | (scores > _MOST_SCORE)] = -1
        half = np.array(template.shape) // 2
        found = []
        for _ in range(2):
            _, score, _, at = cv2.minMaxLoc(scores)
            if score < _LEAST_SCORE:
                break
            row, column = at[1] + half[0], at[0] + half[1]
            found.append((float(score), np.array([around.x_mm[row, column], around.y_mm[row, column]]), heading))
            cv2.circle(scores, at, max(2, int(half[0] // 2)), -1.0, -1)
        return found

    def _offsets(self, place_mm: Floats) -> tuple[Floats, Floats]:
        """(n, n) where the pixels around `place_mm` lie on the plane, seen from the middle one."""
        centre = np.round(self.plane.pixels(place_mm))
        half = int(np.ceil(self._reach_mm / self.plane.step_mm(place_mm)))
        along = np.arange(-half, half + 1, dtype=np.float64)
        pixels = np.stack(np.meshgrid(centre[0] + along, centre[1] + along), axis=-1)
        places = self.plane.points(pixels.reshape(-1, 2)).reshape(pixels.shape)
        places = places - places[half, half]
        return places[..., 0], places[..., 1]

    def _anywhere(self, picture: Grey) -> list[TagFit]:
        """All prints that look like it, none of whose numbers need be readable, in a picture made smaller."""
        middle = self.plane.points(np.array([[picture.shape[1] / 2, picture.shape[0] / 2]]))[0]
        dx, dy = self._offsets(middle)
        if not np.isfinite(dx).all():
            return []
        scores, times = self._alike(PLAIN.light(picture), middle, dx, dy)
        size = dx.shape[0] * times
        fits: list[TagFit] = []
        least = 0.0
        for _ in range(_ROUND_SPOTS_COUNT if self.print.is_round else _SPOTS_COUNT):
            _, score, _, at = cv2.minMaxLoc(scores)
            if score <= least:
                break
            cv2.circle(scores, at, max(2, round(0.3 * size)), -1.0, -1)
            spot = (np.array(at, np.float64) + round(size) / 2) / times - 0.5
            place = self.plane.points(spot[None])[0]
            if not self._is_near_tank(place):
                continue
            if self.print.is_round:
                found = self.at(picture, place, 0.0)
            else:
                headings = np.arange(0, 2 * np.pi, _TURN_RAD)
                found = self.near(picture, place, headings, reach_mm=0.5 * self.print.tag.size_mm)
            if found is not None and found.good and found.lead > _CLEAR_LEAD:
                least = max(least, _NO_RIVAL * score)
                fits.append(found)
        return _apart(fits, self.print.tag.size_mm)

    def _alike(self, light: Singles, middle: Floats, dx: Floats, dy: Floats) -> tuple[Singles, float]:
        """How likely places of a picture show the print in any of its headings, and how much smaller it was made.

        In the finest noise there is anything; ink is dark: the likeness counts by how much of the light is missing.
        Quarter turns of a square are taken together: border and paper find it, its cells then tell which way it lies.
        """
        look = self.look(middle)
        is_round = self.print.is_round
        turns = [0.0] if is_round else np.arange(0, np.pi / 2, _TURN_RAD).tolist()
        wanted = _SMALL_PX / (2 * self.print.used_mm / self.plane.step_mm(middle))
        size = max(5, round(dx.shape[0] * min(1.0, wanted)))
        times = size / dx.shape[0]
        small = np.asarray(cv2.resize(light, None, fx=times, fy=times, interpolation=cv2.INTER_AREA), np.float32)
        usual = np.float32(small.mean())
        small -= usual
        best = []
        for turn in turns:
            quarters = [turn] if is_round else [turn + k * np.pi / 2 for k in range(4)]
            paper = np.mean([1 - _turned(look, dx, dy, heading)[0] for heading in quarters], axis=0)
            covered = _turned(look, dx, dy, turn)[1]
            template, mask = (
                np.asarray(cv2.resize(one.astype(np.float32), (size, size), interpolation=cv2.INTER_AREA), np.float32)
                for one in (paper, covered)
            )
            like, depth, paper = likeness(small, template, mask)
            share = depth / np.maximum(paper + usual, 1.0)
            told = (like > _SPOT_SCORE) & (share > _SPOT_DEPTH)
            best.append(np.where(told, like * np.sqrt(np.clip(share, 0.0, 1.0)), 0.0))
        return np.asarray(np.max(best, axis=0), np.float32), times

    def _is_near_tank(self, place_mm: Floats) -> bool:
        if not np.isfinite(place_mm).all():
            return False
        polygon = self._tank.astype(np.float32)
        return bool(cv2.pointPolygonTest(polygon, (float(place_mm[0]), float(place_mm[1])), True) > -_MARGIN_MM)


def likeness(light: Singles, template: Singles, mask: Singles) -> tuple[Singles, Singles, Singles]:
    """Correlation of the template with each place of a picture of which the mean is 0, each pixel counting by the mask.

    OpenCV's TM_CCOEFF_NORMED with a mask does the same in four times the time. Also by how much light a place where
    the template is 1 exceeds one where it is 0, and the light where it is 1.
    """

    def summed(over: Singles, by: Singles) -> Singles:
        return np.asarray(cv2.matchTemplate(over, np.asarray(by, np.float32), cv2.TM_CCORR), np.float32)

    whole = float(mask.sum())
    usual = float((mask * template).sum()) / whole
    own = mask * (template - usual)
    with_mean = mask * own
    together = summed(light, with_mean - mask * (float(with_mean.sum()) / whole))
    mean = summed(light, mask) / np.float32(whole)
    square = mask * mask
    spread = summed(light * light, square) - 2 * mean * summed(light, square) + float(square.sum()) * mean * mean
    # light that is even but for a level's rounding is like nothing
    like = together / np.sqrt(np.maximum(spread, np.float32(whole))) / np.float32(np.linalg.norm(own))
    depth = together / np.float32((own * own).sum())
    return like, depth, mean + depth * np.float32(1 - usual)


def _turned(look: Look, dx: Floats, dy: Floats, heading: float) -> tuple[Singles, Singles]:
    """Ink at places around the middle of a print with that heading, and where it is compared (1) or not (0)."""
    c, s = np.cos(heading), np.sin(heading)
    x, y = (c * dx + s * dy).astype(np.float32), (c * dy - s * dx).astype(np.float32)
    return look.at(x, y)[..., 0], look.covers(x, y).astype(np.float32)


def _apart(fits: list[TagFit], size_mm: float) -> list[TagFit]:
    """The best first, each place once."""
    kept: list[TagFit] = []
    for one in sorted(fits, key=lambda f: -f.match_share):
        if all(np.hypot(*(one.place_mm - other.place_mm)) > _APART * size_mm for other in kept):
            kept.append(one)
    return kept
