"""The dense pass: the learnt hull laid over every picture of the film, each started from what its neighbours say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, partial
from heapq import merge
from operator import itemgetter

import cv2
import numpy as np
from scipy.interpolate import PchipInterpolator

from logger.vision import background, sightings
from logger.vision.background import Grey, Mask
from logger.vision.fit import Fit, Fitter
from logger.vision.glance import Film, Whole
from logger.vision.ground import SHRINK
from logger.vision.hull import Floats
from logger.vision.learning import Learnt
from logger.vision.outline import moments
from logger.vision.plane import Plane, Singles
from logger.vision.silhouette import Shape, on_plane, silhouette
from logger.vision.survey import Survey

_PLAUSIBLE = (0.5, 1.7)
"""Area of a silhouette, as a share of the hull's, within which it may be the boat."""
_BLOCK_PX = 16
_MARGIN_PX = 32
"""How much lower the boat may be than the sparse pictures say."""
_SHIFTED_PX = 4.0
"""Half of the least by which a lost part shifts a JPEG: a picture in which the boat moved more is looked at whole."""
_SAME_RAD = 0.02
"""From two headings nearer than this a fit comes to the same end."""
_AT_ONCE_COUNT = 64
"""How many pictures are held in memory to be gone through backwards."""
_LOOSE = 0.12
"""Standard uncertainty of a bare silhouette's place, as a share of the boat's size."""


@dataclass(slots=True)
class _Course:
    """Where the boat was last seen for certain, and how it moved: [x, y, heading] on the plane."""

    pose: Floats
    step: Floats
    number: int


def pursue(film: Film, plane: Plane, found: Survey, learnt: Learnt, *, tank: Mask | None) -> dict[int, Fit]:
    """A fit for every picture that can be decoded; bad ones among them show it by their figures."""
    poses = np.column_stack([learnt.place_mm, learnt.heading_rad])
    nodes = found.numbers.astype(float)
    numbers = np.clip(np.arange(film.count, dtype=float), nodes[0], nodes[-1])
    expected = np.asarray(PchipInterpolator(nodes, poses, axis=0)(numbers), np.float64)
    fitter = Fitter(learnt.hull, plane, found.water, found.tone)
    seeker = _Seeker(fitter, found, tank)
    course: _Course | None = None
    fits: dict[int, Fit] = {}
    nearby_mm = _SHIFTED_PX * plane.step_mm(plane.foot_mm)
    for number, picture, whole in _every(film, found, _rows_px(learnt, plane, nodes, numbers)):
        starts = _starts(number, expected, course, same_mm=nearby_mm / _SHIFTED_PX)
        fit, start = _from(starts, fitter, picture)
        is_there = np.hypot(*(fit.place_mm - start[:2])) < nearby_mm and (fit.good or fit.odd)
        if len(picture) < len(found.empty) and not is_there:
            if (checked := whole()) is None:
                continue
            picture = checked
        if not (fit.good or is_there):
            near = course.pose if course is not None else expected[number]
            fit = seeker.again(picture, near=near) or fit
        fits[number] = fit
        if fit.good:
            pose = np.array([*fit.place_mm, fit.heading_rad])
            follows = course is not None and course.number == number - 1
            step = pose - course.pose if course is not None and follows else np.zeros(3)
            course = _Course(pose, step, number)
    _backwards(film, fitter, fits)
    return fits


def _every(film: Film, found: Survey, rows_px: list[int]) -> Iterator[tuple[int, Grey, Whole]]:
    """All pictures in order, their upper rows at least; those of the sparse pass are at hand and not decoded again."""
    held = dict(zip(found.numbers.tolist(), found.pictures, strict=True))
    others = film.upper({n: rows for n, rows in enumerate(rows_px) if n not in held})
    return merge(others, ((n, picture, partial(held.get, n)) for n, picture in held.items()), key=itemgetter(0))


def _rows_px(learnt: Learnt, plane: Plane, nodes: Floats, numbers: Floats) -> list[int]:
    """How many rows from the top hold the boat in each picture (N,); whole blocks of any JPEG.

    Args:
        learnt: with poses in a few pictures.
        plane: on which they are.
        nodes: the numbers of these pictures.
        numbers: (N,) of all pictures, not beyond the nodes.
    """
    _, rows = learnt.hull.bundle().pixels(plane, learnt.place_mm, learnt.heading_rad)
    lowest = np.interp(numbers, nodes, rows.max(axis=(1, 2))) + _MARGIN_PX
    found: list[int] = (_BLOCK_PX * np.ceil(lowest / _BLOCK_PX).astype(int)).tolist()
    return found


def _backwards(film: Film, fitter: Fitter, fits: dict[int, Fit]) -> None:
    """Try the bad fits again, last first, each from the good one after it: what hides a start clears up later."""
    order = sorted(fits)
    bad = [n for n in order if not fits[n].good]
    if not any(fit.good for fit in fits.values()):
        return
    for first in range(len(bad), 0, -_AT_ONCE_COUNT):
        chosen = bad[max(0, first - _AT_ONCE_COUNT) : first]
        pictures = dict(film.pictures(chosen))
        for number in reversed(chosen):
            after = fits.get(number + 1)
            if after is None or not after.good or number not in pictures:
                continue
            later = fits.get(number + 2)
            start, heading = after.place_mm, after.heading_rad
            if later is not None and later.good:
                start, heading = 2 * start - later.place_mm, 2 * heading - later.heading_rad
            again = fitter.fit(pictures[number], place_mm=start, heading_rad=heading, steps=8)
            if again.good:
                fits[number] = again


def _starts(number: int, expected: Floats, course: _Course | None, *, same_mm: float) -> list[Floats]:
    """Poses from which to look: the last place carried on, then what the sparse poses say if that is another."""
    if course is None or number - course.number > 3:
        return [expected[number]]
    carried_on = course.pose + course.step * (number - course.number)
    apart = np.abs(carried_on - expected[number])
    is_same = apart[:2].max() < same_mm and apart[2] < _SAME_RAD
    return [carried_on] if is_same else [carried_on, expected[number]]


def _from(starts: list[Floats], fitter: Fitter, picture: Grey) -> tuple[Fit, Floats]:
    """The first good fit, or else the last, and where it started."""
    for start in starts:
        fit = fitter.fit(picture, place_mm=start[:2], heading_rad=float(start[2]))
        if fit.good:
            break
    return fit, start


class _Seeker:
    """Looks for a boat that was lost, over the whole picture."""

    def __init__(self, fitter: Fitter, found: Survey, tank: Mask | None) -> None:
        self._fitter, self._found, self._tank = fitter, found, tank
        self._plane: Plane = fitter.plane
        self._noise = found.noise
        outline = fitter.hull.outline()
        self._area = abs(moments(outline)[0])
        step = self._plane.step_mm(self._plane.foot_mm)
        self._size_px = max(3.0, float(np.sqrt(self._area)) / step / SHRINK)
        self._radius_px = 1.25 * float(np.hypot(*outline.T).max()) / step + 8

    @cached_property
    def _small(self) -> Singles:
        """Most boats are never lost: it is made when it is asked for."""
        size = self._found.empty.shape[1] // SHRINK, self._found.empty.shape[0] // SHRINK
        return np.asarray(cv2.resize(np.nan_to_num(self._found.empty), size, interpolation=cv2.INTER_AREA), np.float32)

    def again(self, picture: Grey, *, near: Floats) -> Fit | None:
        """The boat at the likeliest place in the picture, given that it was at `near` (x, y, heading); None: not seen.

        If something of the boat's size is there but does not look as learnt, its middle is given, not good.
        """
        small = sightings.shrunk(picture)
        apart, noise = sightings.differences(small[None], self._small)
        light = background.light_of(small, self._small)
        last: Fit | None = None
        for seen in sightings.candidates(apart[0], noise=noise, size_px=self._size_px, tank=self._tank)[:3]:
            spot = ((seen.u + 0.5) * SHRINK - 0.5, (seen.v + 0.5) * SHRINK - 0.5)
            fit = self._at(picture, light, spot, near)
            if fit is not None and fit.good:
                return fit
            last = last or fit
        return last

    def _at(self, picture: Grey, light: float, spot: tuple[float, float], near: Floats) -> Fit | None:
        seen = silhouette(
            picture, self._found.empty, centre_px=spot, radius_px=self._radius_px, noise=self._noise, light=light
        )
        if seen is None:
            return None
        shape = on_plane(seen, self._plane)
        if not _PLAUSIBLE[0] * self._area < shape.area_mm2 < _PLAUSIBLE[1] * self._area:
            return None
        heading = _nearest_half_turn(shape, float(near[2]))
        fit = self._fitter.fit(picture, place_mm=shape.centre_mm, heading_rad=heading, steps=8)
        if fit.good:
            return fit
        loose = np.diag([(_LOOSE**2) * self._area, (_LOOSE**2) * self._area, 0.3**2])
        return replace(
            fit, place_mm=shape.centre_mm, heading_rad=heading, covariance=loose, strength=min(fit.strength, 0.5)
        )


def _nearest_half_turn(shape: Shape, heading_rad: float) -> float:
    """The silhouette's axis, in the one of its two directions that is nearer to `heading_rad`, continuous with it."""
    turn = (shape.axis_rad - heading_rad + np.pi / 2) % np.pi - np.pi / 2
    return heading_rad + float(turn)
