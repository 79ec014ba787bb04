"""Follow one print over a whole film.

First a few pictures are searched for it as a whole (the anchors), which also shows how sharp the pictures are. Then
every picture in order: where the print must be by now it is laid over the picture; if it is not there it is looked for
around, and after a while everywhere. What stayed dark is tried again backwards, from where it was seen next.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from heapq import merge
from itertools import pairwise
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from logger.recording.folder import FrameStamps
from logger.vision.glance import Film, Whole
from logger.vision.plane import Plane
from logger.vision.tag.cells import Told
from logger.vision.tag.fit import Grey, Motion, Patch, TagFit, fit
from logger.vision.tag.foresight import FASTEST_MM_PER_S, TURNS_RAD_PER_S, Course, nearest
from logger.vision.tag.look import Look, Print
from logger.vision.tag.search import Seeker, Seen
from logger.vision.tag.size import of_size, sharpness

Floats = NDArray[np.float64]

_ANCHORS_COUNT = 7
"""So many pictures are searched as a whole."""
_LEAST_LEAD = 0.05
"""A picture with two prints shows none, unless one matches better by this."""
_ENOUGH_COUNT = 2
"""So many pictures must be alike where no number can be read in any."""
_QUICKENS_MM_PER_S2 = 2000.0
"""How fast a boat that nobody sees may change its speed."""
_LEAST_REACH_MM, _MOST_REACH_MM = 42.0, 170.0
"""At least as far as the fastest boat that a wall stops goes from one picture to the next."""
_HEADINGS_APART_RAD = 0.2
_LONG_S = 0.5
"""Lost for longer than this it is not carried on any more."""
_SOON_S = 0.15
_CONTINUES = 0.09
"""So near (a share of the size, radians) to where it must be a print that shows partly is followed ..."""
_PARTLY = 6.0
"""... with its covariance so much larger."""
_WHOLE_EVERY_COUNT = 15
"""While the print is lost, the picture after so many is searched as a whole, then those after twice as many each."""
_NEAR_COUNT, _NEAR_EVERY_COUNT = 6, 4
"""It is looked for around in so many pictures, then in each so-manieth: the hull may fill in the others."""
_BLOCK_PX, _MARGIN_PX = 16, 32
"""Rows are decoded in such blocks, with so many to spare below where the print must be."""
_SHIFTED_PX = 4.0
"""Half of the least by which a lost part shifts a JPEG: a picture in which the print moved more is looked at whole."""
_AT_ONCE_COUNT, _GIVEN_UP_COUNT = 32, 90
_CORNERS = np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, -1.0], [-1.0, 1.0]])
_SMEAR_STEPS_MM = 0.3
"""Looks are made for smears rounded to this."""


@dataclass(frozen=True, slots=True, eq=False)
class Pursuit:
    """Where the print was seen."""

    fits: Mapping[int, TagFit]
    """By the picture's number, good ones only; heading continuous."""
    others: Mapping[int, int] = field(default_factory=dict)
    """Other numbers that were read in the pictures searched as a whole, and in how many."""
    scale: float = 1.0
    """How large the print seems, over what card and plane say."""
    u_scale: float = 1.0
    """Standard uncertainty of `scale`."""
    blur_px: float = 0.0
    """Of lens and pixel together, standard deviation."""
    searched_count: int = 0
    """How many pictures were searched as a whole."""
    is_read: bool = True
    """Whether its number (a disc has none) was read anywhere: all its cells, or so many that it can be no other."""


def pursue(
    film: Film,
    stamps: FrameStamps,
    plane: Plane,
    print_: Print,
    *,
    tank_mm: Floats,
    pictures: Mapping[int, Grey],
) -> Pursuit:
    """The print in every picture that shows it.

    Args:
        film: grey pictures.
        stamps: of the same pictures.
        plane: of the printed face.
        print_: what to look for.
        tank_mm: (K, 2) outline of the water.
        pictures: some of the film, evenly spread; a part of them is searched as a whole.
    """
    seeker = Seeker(print_, plane, tank_mm)
    order = sorted(pictures)
    chosen = order[:: max(1, round(len(order) / _ANCHORS_COUNT))]
    anchors, others = _anchors({n: pictures[n] for n in chosen}, seeker)
    if not anchors:
        return Pursuit({}, others, searched_count=len(chosen))
    seeker.blur_px, scale, u_scale = sharpness(seeker, pictures, anchors)
    chase = _Chase(seeker, stamps)
    first = min(anchors)
    fits: dict[int, TagFit] = {}
    for number, picture, whole in _every(film, pictures, _Rows(first, film.count, chase, pictures)):
        chase.onward(number, picture, whole=whole, fits=fits, anchor=anchors.get(number))
    _backwards(film, chase, fits)
    is_read = any(seeker.says(pictures[n], anchor) is Told.THIS for n, anchor in anchors.items())
    return Pursuit(_unwrapped(fits), others, scale, u_scale, seeker.blur_px, len(chosen), is_read)


class _Rows(Mapping[int, int]):
    """How many upper rows of each picture are needed, as far as the chase knows when it is asked."""

    def __init__(self, first: int, count: int, chase: _Chase, held: Mapping[int, Grey]) -> None:
        self._numbers = [n for n in range(first, count) if n not in held]
        self._all, self._chase, self.first = frozenset(self._numbers), chase, first
        self._asked = -1, 0

    def __getitem__(self, number: int) -> int:
        if number not in self._all:
            raise KeyError(number)
        if self._asked[0] != number:
            self._asked = number, self._chase.rows_px(number)
        return self._asked[1]

    def __iter__(self) -> Iterator[int]:
        return iter(self._numbers)

    def __len__(self) -> int:
        return len(self._numbers)

    def __contains__(self, number: object) -> bool:
        return number in self._all


def _every(film: Film, held: Mapping[int, Grey], rows: _Rows) -> Iterator[tuple[int, Grey, Whole]]:
    """All pictures in order, their upper rows at least; those at hand are not decoded again."""
    at_hand = ((n, held[n], partial(held.get, n)) for n in sorted(held) if n >= rows.first)
    others = ((n, picture[:, :], whole) for n, picture, whole in film.upper(rows))
    return merge(others, at_hand, key=itemgetter(0))


def _anchors(pictures: Mapping[int, Grey], seeker: Seeker) -> tuple[dict[int, TagFit], dict[int, int]]:
    """Pictures in which the print is found without knowing where it is; other numbers there, each with a count."""
    found: dict[int, TagFit] = {}
    others: dict[int, int] = {}
    for number, picture in pictures.items():
        seen = of_size(seeker, picture, seeker.whole(picture))
        for other in {sign.number for sign in seen.others}:
            others[other] = others.get(other, 0) + 1
        if (one := _only(seen)) is not None:
            found[number] = one
    if found or seeker.print.is_round:
        return found, others
    for number, picture in pictures.items():
        if (one := _only(seeker.alike(picture))) is not None:
            found[number] = one
            if len(found) == _ENOUGH_COUNT:
                break
    return found, others


def _only(seen: Seen) -> TagFit | None:
    """The one print that is seen, or the one that matches clearly best."""
    if not seen.fits or (len(seen.fits) > 1 and seen.fits[0].match_share < seen.fits[1].match_share + _LEAST_LEAD):
        return None
    return seen.fits[0]


class _Chase:
    """Goes from picture to picture."""

    def __init__(self, seeker: Seeker, stamps: FrameStamps) -> None:
        self.seeker, self._t_s = seeker, (stamps.t_ns - stamps.t_ns[0]) / 1e9
        self._exposure_s, self._line_s = stamps.exposure_ns / 1e9, stamps.line_ns / 1e9
        self._course = Course()
        self._looks: dict[tuple[int, int, int], Look] = {}
        self._lost_count, self._whole_after_count = 0, _WHOLE_EVERY_COUNT
        self._reach_mm = seeker.print.used_mm * (1.0 if seeker.print.is_round else np.sqrt(2))

    def rows_px(self, number: int) -> int:
        """So many rows from the top hold the print in a picture; all of them if nobody knows."""
        rows = int(self.seeker.plane.view.lens.height_px)
        if not self._course or self._lost_count or number >= len(self._t_s):
            return rows
        pose, _ = self._course.at(float(self._t_s[number]))
        around = pose[:2] + (self._reach_mm + 0.15 * self.seeker.print.tag.size_mm) * _CORNERS
        low = self.seeker.plane.pixels(around)[:, 1].max()
        if not np.isfinite(low):
            return rows
        return int(np.clip(_BLOCK_PX * np.ceil((low + _MARGIN_PX) / _BLOCK_PX), _BLOCK_PX, rows))

    def onward(
        self, number: int, picture: Grey, *, whole: Whole, fits: dict[int, TagFit], anchor: TagFit | None
    ) -> None:
        """The next picture of the film, forwards; `picture` may be its upper rows only."""
        found = self.step(number, picture, whole) if self._course else None
        size = self.seeker.print.tag.size_mm
        if anchor is not None and (found is None or np.hypot(*(found.place_mm - anchor.place_mm)) > 0.4 * size):
            if found is not None:
                self._forget(fits, number)
            self._course.start(float(self._t_s[number]), anchor)
            found = self.step(number, picture, whole) or anchor
        if found is not None:
            fits[number] = found

    def _forget(self, fits: dict[int, TagFit], number: int) -> None:
        """What was followed to here was something else."""
        before = number - 1
        while before in fits:
            del fits[before]
            before -= 1

    def begin(self, number: int, found: TagFit, following: Sequence[tuple[int, TagFit]]) -> None:
        """Take up the track at a good picture, with more of it in order of nearness."""
        self._lost_count = 0
        course = [*reversed(following), (number, found)]
        self._course.start(float(self._t_s[course[0][0]]), course[0][1])
        for n, one in course[1:]:
            self._course.add(float(self._t_s[n]), one)

    def step(self, number: int, picture: Grey, whole: Whole | None = None) -> TagFit | None:
        """The print in the next picture, from what went before; backwards where no `whole` is given."""
        t_s = float(self._t_s[number])
        pose, rates = self._course.at(t_s)
        gap_s = abs(t_s - self._course.last_s)
        found = self._laid(number, picture, pose, rates) if gap_s < _LONG_S else None
        if (
            whole is not None
            and len(picture) < self.seeker.plane.view.lens.height_px
            and not self._is_there(found, pose)
        ):
            checked = whole()
            if checked is None:  # damaged: what its upper rows show may be shifted
                return self._lost()
            picture = checked[:, :]
            found = self._laid(number, picture, pose, rates) if gap_s < _LONG_S else None
        if found is not None and not found.good and gap_s < _SOON_S and self._continues(found, pose):
            # a hand or a sail over half of it: what shows goes on as before, but is less sure
            found = replace(found, covariance=found.covariance * _PARTLY)
        elif found is None or not found.good:
            found = self._sought(number, picture, pose, rates, gap_s=gap_s, is_onward=whole is not None)
        if found is None:
            return self._lost()
        self._lost_count, self._whole_after_count = 0, _WHOLE_EVERY_COUNT
        self._course.add(t_s, found)
        return found

    def _lost(self) -> TagFit | None:
        self._lost_count += 1
        return None

    def _is_there(self, found: TagFit | None, pose: Floats) -> bool:
        """Whether the print is seen where it must be; if not, the picture may be one of which a part was lost."""
        near = _SHIFTED_PX * self.seeker.plane.step_mm(pose[:2])
        return found is not None and found.good and bool(np.hypot(*(found.place_mm - pose[:2])) < near)

    def _continues(self, found: TagFit, pose: Floats) -> bool:
        aside = float(np.hypot(*(found.place_mm - pose[:2])))
        turn = abs(nearest(found.heading_rad, float(pose[2])) - float(pose[2]))
        size = self.seeker.print.tag.size_mm
        return found.shows_partly and aside < _CONTINUES * size and turn < _CONTINUES

    def _laid(self, number: int, picture: Grey, pose: Floats, rates: Floats) -> TagFit | None:
        seeker = self.seeker
        patch = Patch(picture, seeker.plane, pose[:2], self._reach_mm + 0.15 * seeker.print.tag.size_mm)
        look, motion = self._look(number, pose, rates)
        return fit(patch, look, place_mm=pose[:2], heading_rad=float(pose[2]), motion=motion, turns=False)

    def _sought(
        self, number: int, picture: Grey, pose: Floats, rates: Floats, *, gap_s: float, is_onward: bool
    ) -> TagFit | None:
        """Around where it must be; now and then everywhere, onwards."""
        if self._lost_count >= self._whole_after_count and is_onward:
            self._whole_after_count += 2 * self._whole_after_count
            return self._anywhere(picture, self._course.at(self._course.last_s)[0], gap_s)
        if self._lost_count >= _NEAR_COUNT and self._lost_count % _NEAR_EVERY_COUNT:
            return None
        last = self._course.at(self._course.last_s)[0]
        look, motion = self._look(number, pose, rates)
        if gap_s < _LONG_S:
            spread = 0.5 * _QUICKENS_MM_PER_S2 * gap_s**2 + 0.3 * float(np.hypot(*(pose[:2] - last[:2])))
            reach, middle = float(np.clip(_LEAST_REACH_MM + spread, 0, _MOST_REACH_MM)), pose[:2]
            turns = 0.15 + min(TURNS_RAD_PER_S * gap_s, 1.2)
        else:  # it may still lie where it was, under a hand
            reach, middle, turns = _LEAST_REACH_MM, last[:2], _HEADINGS_APART_RAD
        count = int(np.ceil(turns / _HEADINGS_APART_RAD))
        headings = pose[2] + np.linspace(-turns, turns, 2 * count + 1)
        if self.seeker.print.is_round:
            headings = pose[2:3]
        found = self.seeker.near(picture, middle, headings, reach_mm=reach, look=look, motion=motion)
        if found is not None and (gap_s < _LONG_S or found.sure):
            return found
        return None

    def _anywhere(self, picture: Grey, last: Floats, gap_s: float) -> TagFit | None:
        """In the whole picture, by its number or else by its look, if a boat can have come there."""
        seen = of_size(self.seeker, picture, self.seeker.whole(picture))
        one = _only(seen if seen.fits or self.seeker.print.is_round else self.seeker.alike(picture))
        if one is None or not one.sure:
            return None
        return one if np.hypot(*(one.place_mm - last[:2])) < FASTEST_MM_PER_S * gap_s else None

    def _look(self, number: int, pose: Floats, rates: Floats) -> tuple[Look, Motion]:
        """How the print looks at that speed."""
        smear = rates[:2] * float(self._exposure_s[number])
        c, s = np.cos(pose[2]), np.sin(pose[2])
        own = np.array([c * smear[0] + s * smear[1], c * smear[1] - s * smear[0]])
        step = self.seeker.plane.step_mm(pose[:2])
        key = (*np.round(own / _SMEAR_STEPS_MM).astype(int).tolist(), round(step / 0.02))
        if key not in self._looks:
            if len(self._looks) > 200:
                self._looks.clear()
            self._looks[key] = self.seeker.look(pose[:2], np.array(key[:2]) * _SMEAR_STEPS_MM)
        motion = Motion((float(rates[0]), float(rates[1])), float(self._line_s[number]))
        return self._looks[key], motion


def _backwards(film: Film, chase: _Chase, fits: dict[int, TagFit]) -> None:
    """Try what is dark again, last first, each stretch from the good picture after it."""
    for first, after in list(_dark(sorted(fits))):
        near = [after, *(n for n in range(after + 1, after + 5) if n in fits)]
        chase.begin(after, fits[after], [(n, fits[n]) for n in near[1:]])
        last_seen = after
        for until in range(after, first, -_AT_ONCE_COUNT):
            chosen = list(range(max(first, until - _AT_ONCE_COUNT), until))
            pictures = dict(film.pictures(chosen))
            for number in reversed(chosen):
                if number in pictures and (found := chase.step(number, pictures[number])) is not None:
                    fits[number] = found
                    last_seen = number
            if last_seen - chosen[0] > _GIVEN_UP_COUNT:
                break


def _dark(good: Sequence[int]) -> Iterator[tuple[int, int]]:
    """(first dark, next good) of each stretch between good pictures, last first; and that before all."""
    for before, after in reversed(list(pairwise(good))):
        if after - before > 1:
            yield before + 1, after
    if good and good[0] > 0:
        yield 0, good[0]


def _unwrapped(fits: Mapping[int, TagFit]) -> dict[int, TagFit]:
    """In order, headings continuous."""
    found: dict[int, TagFit] = {}
    heading: float | None = None
    for number in sorted(fits):
        one = fits[number]
        heading = one.heading_rad if heading is None else nearest(one.heading_rad, heading)
        found[number] = replace(one, heading_rad=heading)
    return found
