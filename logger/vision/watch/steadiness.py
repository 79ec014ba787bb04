"""Does the camera stand still during a recording? Marks about the water are looked at in every picture.

How the camera is calibrated is how it stands in the early pictures. Against these each picture is moved by a smooth
field of eight numbers (a shift, its linear change with column and row, and perspective): all that a small turn or
shift of the camera does to a plane, and what rows exposed one after the other make of it while it swings. Marks that do
not go along with the others (a hand on the rim, a shadow, somebody's sleeve) are left out by their residuals (Tukey's
biweight). Small moves are put right; where most marks are lost, nothing is known, and that is said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Grey
from logger.vision.plane import Floats, Singles
from logger.vision.watch.marks import REACH_PX, Marks, Readings
from logger.vision.watch.moves import Move, PutBack, levers

LEAST_PX = 0.12
"""A smaller move of all marks together is none: so far may ripples, shadows and a JPEG's blocks pull them."""
_SHOWN_SHARE = 0.6
_AROUND_PX = 40
"""Pictures are put back so far around the water."""
_SURELY = 3.0
_UNSURE_MOST_PX = 0.3
"""A move of less than so many standard uncertainties, and pixels, is none either."""
_LEAST_COUNT = 6
"""With fewer readings nothing is told."""
_LEAST_SHARE = 0.5
"""Of all readings so many must go along."""
_CLOSE_PX = 0.12
"""An expectation so near needs no further step."""
_CLOSE_SHARE = 0.5
"""Or if it is so near in standard uncertainties: with few marks each step only moves about within its own doubt."""
_JUMP_PX = 0.6
"""What moved farther from one picture to the next is searched for: steps alone may end beside it."""
_STEP_MOST_PX = 1.2
"""A reading beyond this is none: edges are no wider."""
_AGREES_PX = 0.3
_STEPS_COUNT = 8
_BIWEIGHT = 4.685
"""Tukey's constant: 95 % efficient for normal residuals (Holland and Welsch 1977)."""
_USUAL_PX = np.array([8.0, 8.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0])
"""Standard deviation of each of the eight numbers when somebody knocks against a camera."""
_NOTHING = np.zeros(8)
_REST_BELIEF = np.diag(1 / np.array([0.5, 0.5, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1]) ** 2)
"""A camera that stands as it stood moves by no more than this from picture to picture: for the quick look."""
_REST_PX = {True: {True: 0.09, False: 0.12}, False: {True: 0.06, False: 0.08}}
"""So near the marks are where they were, together: if it stood still or not, in a whole picture or the upper rows."""
_ALONG = 0.7
"""A reading whose direction is so much along the columns, or the rows, tells of them."""
_NEARLY_ALL = 0.8
"""If so many are, they are taken as they are, without asking which stray."""
_SEEN_SHARE, _NEAR_SHARE = 0.4, 0.6
"""For the quick look so many of the marks must be seen, and so many of these be where they were expected."""
_TOGETHER = 2.0
"""Readings along one edge err together: so many times are they less worth than they seem."""


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """What a first look needs for so many readings of the upper marks."""

    square: Singles
    """(M, M) what makes of the readings the mean square of how far the marks moved; not numbers if they tell little."""
    apart_px: Singles
    """(M,) what the readings were in the picture that these are compared with."""


class Watch:
    """Watches the marks of one film; remembers what it saw in each picture."""

    def __init__(self, marks: Marks, size: tuple[int, int], water_px: Floats | None = None) -> None:
        self._marks, self._size = marks, size
        corners = np.array([[0, 0], size[::-1]]) if water_px is None else water_px
        low, high = corners.min(axis=0) - _AROUND_PX, corners.max(axis=0) + _AROUND_PX
        (self._left, self._top), (self._right, self._bottom) = (
            np.clip(np.round(edge), 0, size[::-1]).astype(int).tolist() for edge in (low, high)
        )
        self.rows_px = marks.rows_px(_LEAST_COUNT // 2, _ALONG)
        """So many upper rows tell whether the camera stands as it stood; fewer surely do not."""
        self._levers = levers(marks.centres_px.astype(np.float64), size)
        self._still = Move(np.zeros(8), np.zeros((8, 8)), True, size)
        self._before, self._near = self._still, np.zeros(8)
        self._looks: dict[int, _Look] = {}
        self._seen: dict[int, Move] = {}
        self._rows_px: dict[int, int] = {}

    def look(self, number: int, picture: NDArray[np.uint8]) -> Move:
        """The move of picture `number`: grey (h, w) or BGR (h, w, 3), upper rows only will do.

        Where it is not still, more rows tell more: then it may be looked at again.
        """
        known = self._seen.get(number)
        if known is None or (not known.is_still and len(picture) > self._rows_px[number]):
            before, known = self._before, self._measured(picture)
            # where it stands as it stood in a whole picture, that one's lower rows tell of this one's
            self._rows_px[number] = self._size[0] if known is before else len(picture)
            self._seen[number] = known
        return known

    def move(self, number: int) -> Move:
        """What `look` found in picture `number`; still if it was not looked at."""
        return self._seen.get(number, self._still)

    def put_back(self, number: int, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """A picture of any colour as it would be had the camera not moved, about the water: the rest stays as it is.

        Args:
            number: of the picture, which was looked at.
            picture: its upper rows at least.
        """
        back = self.steadied(number, picture)
        return back[:, :] if isinstance(back, PutBack) else back

    def steadied(self, number: int, picture: NDArray[np.uint8]) -> NDArray[np.uint8] | PutBack:
        """The same, put back only where it is looked at."""
        move, bottom = self.move(number), min(self._bottom, len(picture))
        if not move.field_px.any() or bottom <= self._top:
            return picture
        return PutBack(picture, move, (self._left, self._top, self._right, bottom))

    def shown(self, pictures: Mapping[int, Grey]) -> NDArray[np.bool_]:
        """(W,) which marks most of the pictures show: not those on a hand that was there at the beginning only."""
        clear = np.zeros(len(self._levers))
        for number in sorted(pictures):
            field = self.look(number, pictures[number]).field_px
            clear += self._marks.clear(pictures[number], self._levers @ field if field.any() else None)
        return np.asarray(clear > _SHOWN_SHARE * len(pictures), np.bool_)

    def needs_more(self, number: int, picture: NDArray[np.uint8]) -> bool:
        """Whether these upper rows of picture `number` tell too little of how it lies lower down.

        They tell enough if the camera stands as it stood in the last whole picture.
        """
        if number not in self._seen:
            if self._compared(picture)[0]:
                self._seen[number], self._rows_px[number] = self._before, self._size[0]
            elif len(picture) < self._size[0]:
                return True  # what these rows alone make of it is not asked: all of the picture tells more
        self.look(number, picture)
        return self._rows_px[number] < self._size[0]

    def _measured(self, picture: NDArray[np.uint8]) -> Move:
        is_whole = len(picture) == self._size[0]
        is_as_before, seen = self._compared(picture)
        if is_as_before:
            return self._before
        found = self._from(picture, self._near, seen) or self._from(picture, None, None)
        if found is None:
            # the camera may stand as it stood, or hang anywhere
            return Move(self._before.field_px, np.diag(_USUAL_PX**2) / 16, False, self._size)
        near, field, covariance = found
        moved = self._levers @ field
        doubt = np.einsum("wij,jk,wik->wi", self._levers, covariance, self._levers)
        least = max(LEAST_PX, min(_UNSURE_MOST_PX, _SURELY * float(np.sqrt(doubt.sum(1).mean()))))
        is_still = np.sqrt((moved**2).sum(1).mean()) < least
        move = self._still if is_still else Move(field, covariance, True, self._size)
        if is_whole:
            # what a few rows tell is too little for the next picture to start from
            self._before, self._near, self._looks = move, np.zeros(8) if is_still else near, {}
        return move

    def _compared(self, picture: NDArray[np.uint8]) -> tuple[bool, Readings | None]:
        """Whether the camera stands as in the last whole picture; and the readings, if they had to be looked at."""
        expected = self._expected(self._near)
        rest_px2 = _REST_PX[self._before.is_still][len(picture) == self._size[0]] ** 2
        if self._nearly_all_stand(*self._marks.glimpse(picture, expected), rest_px2):
            return True, None
        seen = self._marks.read(picture, expected)
        return self._stands(seen, rest_px2), seen

    def _nearly_all_stand(self, off_px: Singles, is_clear: NDArray[np.bool_], rest_px2: float) -> bool:
        """Whether nearly all marks are seen and surely stand where the last whole picture showed them: a first look."""
        learnt = self._looks.get(len(off_px))
        if learnt is None:
            return False
        off = off_px - learnt.apart_px
        near = is_clear & (np.abs(off) < _AGREES_PX)
        if np.count_nonzero(near) < _NEARLY_ALL * len(off):
            return False
        light = off * near
        return bool(light @ learnt.square @ light < _NEARLY_ALL * rest_px2)

    def _stands(self, seen: Readings, rest_px2: float) -> bool:
        """Whether they do by those that are seen and go along; it may say no though they do."""
        if len(seen.off_px) not in self._looks:
            self._looks[len(seen.off_px)] = self._look_of(seen)
        off = seen.off_px - self._looks[len(seen.off_px)].apart_px
        near = seen.is_clear & (np.abs(off) < _AGREES_PX)
        tells = (np.abs(seen.direction) > _ALONG).astype(np.float64)
        if (near @ tells < np.maximum(_LEAST_COUNT / 2, _NEAR_SHARE * (seen.is_clear @ tells))).any():
            return False
        if np.count_nonzero(seen.is_clear) < _SEEN_SHARE * len(off):
            return False
        apart = np.abs(off[near])
        told = _TOGETHER * np.maximum(seen.u_px, 1.4826 * np.partition(apart, len(apart) // 2)[len(apart) // 2])
        field = _least(seen.lever, off, near / told**2, _REST_BELIEF, _NOTHING)
        weight = near * _biweight(off - seen.lever @ field, told)
        moved = self._levers[: seen.window[-1] + 1] @ _least(seen.lever, off, weight, _REST_BELIEF, _NOTHING)
        return bool(np.vdot(moved, moved) < len(moved) * rest_px2)

    def _look_of(self, seen: Readings) -> _Look:
        upper = self._levers[: seen.window.max(initial=-1) + 1]
        weighted = seen.lever / (_TOGETHER * np.maximum(seen.u_px, LEAST_PX / 3))[:, None] ** 2
        solves = np.linalg.solve(weighted.T @ seen.lever + _REST_BELIEF, weighted.T)
        moved = (upper @ solves).reshape(2 * len(upper), len(seen.off_px))
        is_told = (np.abs(seen.direction) > _ALONG).sum(0).min() >= _LEAST_COUNT / 2
        square = moved.T @ moved / len(upper) if is_told else np.full((len(seen.off_px),) * 2, np.nan)
        apart = seen.lever @ (self._before.field_px - self._near)
        return _Look(square.astype(np.float32), apart.astype(np.float32))

    def _from(
        self, picture: NDArray[np.uint8], start: Floats | None, seen: Readings | None
    ) -> tuple[Floats, Floats, Floats] | None:
        """A field very near, the field and its covariance; None: too few go along.

        Args:
            picture: its upper rows at least.
            start: a field from which to step; None: it is searched for.
            seen: what was read with the start, if it was.
        """
        field = start
        if field is None:
            rough = _solved(self._marks.search(picture), np.zeros(8), within_px=REACH_PX, agrees_px=2.0)
            if rough is None:
                return None
            field = rough[0]
        for _ in range(_STEPS_COUNT):
            seen = self._marks.read(picture, self._expected(field)) if seen is None else seen
            solved = _solved(seen, field, within_px=_STEP_MOST_PX, agrees_px=_AGREES_PX)
            if solved is None:
                return None
            step, covariance = solved
            looked_at, seen = self._levers[: seen.window[-1] + 1], None
            if start is not None and np.abs(looked_at @ (field + step - start)).max() > _JUMP_PX:
                return None
            doubt = np.einsum("wij,jk,wik->wi", looked_at, covariance, looked_at)
            if (np.abs(looked_at @ step) < np.maximum(_CLOSE_PX, _CLOSE_SHARE * np.sqrt(doubt))).all():
                return field, field + step, covariance
            field = field + step
        return None

    def _expected(self, field: Floats) -> Floats | None:
        return self._levers @ field if field.any() else None


def watch(pictures: Mapping[int, Grey], water_px: Floats) -> Watch | None:
    """A watch over the film of which `pictures` are some from all over it; None if nothing about the water tells.

    Args:
        pictures: by number.
        water_px: (N, 2) corners of the water in the picture; within them, and near them, nothing stands still.
    """
    order = sorted(pictures)
    if len(order) < 3:
        return None
    shape = pictures[order[0]].shape
    dry = np.ones(shape, np.uint8)
    cv2.fillPoly(dry, [np.round(water_px).astype(np.int32)], 0)
    margin = 2 * round(shape[1] / 160) + 1
    far = np.asarray(cv2.erode(dry, np.ones((margin, margin), np.uint8)), np.uint8) > 0
    found = _early(pictures, order, far)
    if found is None:
        return None
    size = (shape[0], shape[1])
    kept = Watch(found, size).shown(pictures)
    return Watch(found.only(kept), size, water_px) if kept.sum() >= _LEAST_COUNT else None


def _early(pictures: Mapping[int, Grey], order: list[int], dry: NDArray[np.bool_]) -> Marks | None:
    """The marks as they were before anybody knocked against the camera."""
    rest = [pictures[n] for n in order[: max(3, len(order) // 3)]]
    for base in range(len(rest) - 1):
        marks = Marks.chosen(rest[base], dry, _noise(rest[base + 1][dry], rest[base][dry]))
        if len(marks.centres_px) < _LEAST_COUNT:
            return None
        at_once = Watch(marks, (dry.shape[0], dry.shape[1]))
        same = [rest[base]]
        for n, picture in enumerate(rest[base + 1 :]):
            if not at_once.look(n, picture).is_still:
                break
            same.append(picture)
        if len(same) > 1:
            return marks.averaged(same)
    return None


def _noise(one: Grey, other: Grey) -> float:
    """Of one picture, from the mean difference of two; without what is plainly another thing.

    Whole grey levels in the dark are too coarse for a median.
    """
    apart = cv2.absdiff(one, other)
    light = np.minimum(apart, max(10.0, 4 * float(apart.mean())))
    return float(light.mean() * np.sqrt(np.pi) / 2)


def _solved(seen: Readings, known: Floats, *, within_px: float, agrees_px: float) -> tuple[Floats, Floats] | None:
    """By how much (8,) the field differs from the `known` one, and its covariance; None: too few readings go along."""
    usable = seen.is_clear & (np.abs(seen.off_px) < within_px)
    if len(usable) < _LEAST_COUNT or usable.sum() < max(_LEAST_COUNT, _LEAST_SHARE * len(usable)):
        return None
    lever, off, u = seen.lever[usable], seen.off_px[usable], seen.u_px[usable]
    belief = np.diag(1 / _USUAL_PX**2)
    field, scale = np.zeros(8), 1.4826 * float(np.median(np.abs(off)))
    if scale > agrees_px / 4:
        # far from where they are expected: first the middle of them all, which few strays do not move
        for _ in range(6):
            rest = off - lever @ field
            weight = 1 / (u * np.maximum(np.abs(rest), u))
            field = _least(lever, off, weight, belief, known)
        scale = 1.4826 * float(np.median(np.abs(off - lever @ field)))
    for _ in range(2):
        told = np.maximum(u, scale)
        weight = _biweight(off - lever @ field, told)
        field = _least(lever, off, weight, belief, known)
    agreeing = np.abs(off - lever @ field) < agrees_px
    if agreeing.sum() < max(_LEAST_COUNT, _LEAST_SHARE * len(usable)):
        return None
    covariance = np.linalg.inv((lever * weight[:, None]).T @ lever / _TOGETHER**2 + belief)
    return field, np.asarray(covariance, np.float64)


def _least(lever: Floats, off: Floats, weight: Floats, belief: Floats, known: Floats) -> Floats:
    weighted = lever * weight[:, None]
    return np.asarray(np.linalg.solve(weighted.T @ lever + belief, weighted.T @ off - belief @ known), np.float64)


def _biweight(rest: Floats, u: Floats) -> Floats:
    far = np.minimum(np.abs(rest) / (_BIWEIGHT * u), 1.0)
    weight: Floats = (1 - far**2) ** 2 / u**2
    return weight
