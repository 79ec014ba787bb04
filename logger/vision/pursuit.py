"""The dense pass: the learnt hull laid over every picture of the film, each started from what its neighbours say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import takewhile

import numpy as np
from scipy.interpolate import PchipInterpolator

from logger.vision.background import Mask
from logger.vision.batches import batched
from logger.vision.course import Course
from logger.vision.doubts import shines
from logger.vision.fit import AGREED_PX, Fit, Fitter
from logger.vision.glance import Film, Whole
from logger.vision.ground import within
from logger.vision.hull import Floats
from logger.vision.learning import Learnt
from logger.vision.lonely import without_lonely
from logger.vision.plane import Plane, Windowed
from logger.vision.seeking import Seeker
from logger.vision.survey import Survey
from logger.vision.upper import every, rows_px

_SHIFTED_PX = 4.0
"""Half of the least by which a lost part shifts a JPEG: a picture in which the boat moved more is looked at whole."""
_SAME_RAD = 0.02
"""From two headings nearer than this a fit comes to the same end."""
_FORGOTTEN_S = 0.4
"""After so long without the boat it may be anywhere."""
_BESIDE_COUNT = 4
"""From how many pictures away a boat's speed is judged at most."""
_LOOSELY, _LOOSE_MISFIT = 0.5, 6.0
"""Strength and misfit of a fit that shows a foil boat."""
_STEPS_BLURS = 15.0
"""A fit ends no farther from its start than so many blurs."""
_MOST_OF_IT = 0.7
"""So much of what a boat has to show is shown by nothing else."""
_ALL_OF_IT = 0.95
_LITTLE, _SAME_MM = 0.22, 3.0
"""Of so little of a boat its place is believed if no point of the whole fit is farther than this from it."""
_UNLIKE, _BETTER = 2.0, 0.8
"""What is hidden counts as so many times worse than is usual; a part must leave so much less unexplained."""
_WELL_INSIDE = 0.8
"""A boat in the water has so much of its length in it, whatever its bow hangs over and the tank was measured wrong."""
_RIVAL = 0.8
"""Another place at which so much is shown of what is shown at the best makes both worthless."""
_LED_COUNT = 12
"""From so many pictures before it is judged where the boat goes in the next ones."""
_TOGETHER_COUNT = 16
"""How many pictures are fitted together."""
_SOUGHT_TOGETHER_COUNT = 8
"""In how many pictures the boat is sought together."""
_AT_ONCE_COUNT = 32
"""How many pictures are held in memory to be gone through backwards."""


def pursue(
    film: Film, plane: Plane, found: Survey, learnt: Learnt, *, t_s: Floats, tank: Mask | None
) -> dict[int, Fit]:
    """A good fit for every picture that shows the boat; by number.

    Args:
        film: all pictures.
        plane: on which the boat was learnt.
        found: the sparse pass.
        learnt: the boat's look.
        t_s: (film.count,) when each was taken, from any moment.
        tank: small mask of where a boat can be.
    """
    chase = _Chase(film, t_s, plane, found, learnt, tank)
    chase.forwards()
    chase.backwards()
    if chase.seek(Seeker(chase.fitter, found, tank)):
        chase.backwards()
    return without_lonely(chase.fits)


def complete(
    film: Film, t_s: Floats, *, plane: Plane, found: Survey, learnt: Learnt, fits: Mapping[int, Fit]
) -> dict[int, Fit]:
    """`fits`, and good ones for the pictures that they leave open, from where the boat is before and after.

    Args:
        film: all pictures.
        t_s: (film.count,) when each was taken, from any moment.
        plane: on which the boat was learnt.
        found: the sparse pass.
        learnt: the boat's look.
        fits: what something else has found, on the same plane.
    """
    chase = _Chase(film, t_s, plane, found, learnt, tank=None)
    chase.fits = dict(fits)
    chase.onwards()
    chase.backwards()
    return chase.fits


class _Chase:
    """The boat followed through the pictures: forwards, then backwards into what was missed."""

    def __init__(self, film: Film, t_s: Floats, plane: Plane, found: Survey, learnt: Learnt, tank: Mask | None) -> None:
        self.film, self.found, self._t_s, self._tank = film, found, t_s, tank
        self.fitter = Fitter(learnt.hull.thinned(), plane, found.water, found.tone)
        self.fits: dict[int, Fit] = {}
        self._damaged: set[int] = set()
        self._taught = frozenset(found.numbers.tolist())
        self._failed: dict[int, Course] = {}
        poses = np.column_stack([learnt.place_mm, learnt.heading_rad])
        nodes = t_s[found.numbers]
        times = np.clip(t_s, nodes[0], nodes[-1])
        self._expected = np.asarray(PchipInterpolator(nodes, poses, axis=0)(times), np.float64)
        self._rows_px = rows_px(learnt, plane, nodes, times)
        self._is_loose = shines(learnt)
        self._usual_misfit = float(np.median(learnt.misfit))
        self._nearby_mm = _SHIFTED_PX * plane.step_mm(plane.foot_mm)
        self._radius_mm = float(np.hypot(*learnt.hull.rays().reshape(-1, 2).T).max())

    def forwards(self) -> None:
        """Every picture from where the boat is surely seen, in order, each from where it must be."""
        course: Course | None = None
        for batch in batched(every(self.film, self.found, self._rows_px), _TOGETHER_COUNT):
            fits = self._at_once(batch)
            for (number, picture, whole), fit, led in zip(batch, fits, self._led(batch, fits), strict=True):
                if course is not None and self._t_s[number] - course.t_s > _FORGOTTEN_S:
                    course = None
                starts = self._starts(number, course)
                fit = led if led.good and self._is_there(led, starts[:1]) else fit
                found = self._or_part(picture, fit, starts) if fit.good and self._is_there(fit, starts) else None
                if found is None:
                    # what is expected comes last, or is the same as what comes last
                    last = fit if course is None or len(starts) > 1 or fit.is_settled else None
                    found = self._followed(number, picture, whole, starts=starts, course=course, last=last)
                if found is None and number in self._taught:
                    found = self._where_taught(number, picture)
                if found is not None:
                    self.fits[number] = found
                    course = self._course(number, -1)

    def _where_taught(self, number: int, picture: Windowed) -> Fit | None:
        """Most of the boat where it taught its look: a sail may stand out beyond it in all pictures."""
        part = self._expected_part(picture, self._expected[number])
        return part if part is not None and part.agreeing > _MOST_OF_IT else None

    def _at_once(self, batch: Sequence[tuple[int, Windowed, Whole]]) -> list[Fit]:
        """The fits of several pictures, each from where the sparse pass says that the boat is."""
        expected = self._expected[[number for number, _, _ in batch]]
        pictures = [picture for _, picture, _ in batch]
        return self.fitter.fits(pictures, place_mm=expected[:, :2], heading_rad=expected[:, 2])

    def _led(self, batch: Sequence[tuple[int, Windowed, Whole]], fits: Sequence[Fit]) -> list[Fit]:
        """The same fits; those that are not good once more, from where the pictures before the batch lead."""
        known = [n for n in range(batch[0][0] - _LED_COUNT, batch[0][0]) if n in self.fits]
        open_ = [k for k, fit in enumerate(fits) if not fit.good]
        if not open_ or len(known) < 2:
            return list(fits)
        bends = 2 if len(known) > _LED_COUNT // 2 else 1
        way = np.polyfit(self._t_s[known] - self._t_s[known[-1]], [self._pose(n) for n in known], bends)
        starts = np.vander(self._t_s[[batch[k][0] for k in open_]] - self._t_s[known[-1]], bends + 1) @ way
        found = self.fitter.fits([batch[k][1] for k in open_], place_mm=starts[:, :2], heading_rad=starts[:, 2])
        return [dict(zip(open_, found, strict=True)).get(k, fit) for k, fit in enumerate(fits)]

    def _followed(
        self,
        number: int,
        picture: Windowed,
        whole: Whole,
        *,
        starts: list[Floats],
        course: Course | None,
        last: Fit | None = None,
    ) -> Fit | None:
        """The fit in a picture, from its upper rows or else all of it; `last` is that from the last of the starts."""
        t_s = float(self._t_s[number])
        fit = self._fitted(picture, starts, course=course, t_s=t_s, last=last)
        if len(picture) == len(self.found.empty) or self._is_there(fit, starts):
            return fit
        if fit is None and self._lowest_px(starts, course, t_s) < len(picture):
            return None
        if (checked := whole()) is None:
            self._damaged.add(number)
            return None
        return self._fitted(checked, starts, course=course, t_s=t_s)

    def _lowest_px(self, starts: list[Floats], course: Course | None, t_s: float) -> float:
        """A row above which all lies that is looked at from the starts."""
        room = 0.0 if course is None else course.room_mm(t_s, step_mm=self._nearby_mm)
        reach = self._radius_mm + room + _STEPS_BLURS * self.fitter.hull.blur_mm
        around = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]]) * reach
        others = [] if course is None else [course.pose]
        places = np.array([start[:2] for start in (*starts, *others)])
        return float(self.fitter.plane.pixels(places[:, None] + around)[..., 1].max())

    def backwards(self) -> None:
        """What was missed, last picture first, from where the boat is after: what hides a start clears up later."""
        missed = self._missed(max(self.fits, default=0))
        while missed:
            near = self._near_after(missed)
            if not near:
                missed.pop()
                continue
            del missed[-len(near) :]
            anew = {n: self._rows_px[n] for n in near if self._course_anew(n) is not None}
            pictures = {n: (picture, whole) for n, picture, whole in self.film.upper(anew)} if anew else {}
            for number in reversed(near):
                if (course := self._course_anew(number)) is None:
                    continue
                if number not in anew:
                    # the pictures after it lead to another place now
                    missed += near[: near.index(number) + 1]
                    break
                if number not in pictures:
                    continue
                picture, whole = pictures[number]
                fit = self._followed(number, picture, whole, starts=[course.at(self._t_s[number])], course=course)
                if fit is not None:
                    self.fits[number] = fit
                else:
                    self._failed[number] = course

    def _course_anew(self, number: int) -> Course | None:
        """Where the boat goes after a picture; None if that is unknown, or led to nothing in this picture before."""
        if (after := self._beside(number, 1)) is None:
            return None
        course, failed = self._course(after, 1), self._failed.get(number)
        return course if failed is None or not course.is_same(failed) else None

    def _near_after(self, missed: list[int]) -> list[int]:
        """The last of them that are near enough to one with the boat; if it is found in these, further ones are."""
        return sorted(takewhile(lambda n: self._beside(n, 1) is not None, reversed(missed[-_AT_ONCE_COUNT:])))

    def onwards(self) -> None:
        """What was missed, in order, from where the boat is before."""
        for number, picture in self.film.pictures(self._missed(self.film.count)):
            before = self._beside(number, -1)
            if before is None:
                continue
            course = self._course(before, -1)
            starts = self._starts(number, course)
            if (fit := self._fitted(picture, starts, course=course, t_s=self._t_s[number])) is not None:
                self.fits[number] = fit

    def _beside(self, number: int, side: int) -> int | None:
        """The nearest picture with the boat on one side, if it is not too far away in time."""
        beside = number + side
        while 0 <= beside < self.film.count and abs(self._t_s[beside] - self._t_s[number]) <= _FORGOTTEN_S:
            if beside in self.fits:
                return beside
            beside += side
        return None

    def _missed(self, until: int) -> list[int]:
        return [n for n in range(until) if n not in self.fits and n not in self._damaged]

    def _is_there(self, fit: Fit | None, starts: list[Floats]) -> bool:
        """Whether the boat is where it must be; if not, the picture may be one of which a part was lost."""
        if fit is None:
            return False
        is_near = min(float(np.hypot(*(fit.place_mm - start[:2]))) for start in starts) < self._nearby_mm
        return is_near and (not fit.is_partial or self._is_afloat(fit))

    def _course(self, number: int, side: int) -> Course:
        """Where the boat is in a picture, and its speed, judged from the nearest picture on one side."""
        beside = number + side
        while beside not in self.fits and abs(beside - number) < _BESIDE_COUNT:
            beside += side
        pose, t_s = self._pose(number), float(self._t_s[number])
        fit = self.fits[number]
        shown = min(fit.agreeing, 0.99) if fit.is_partial and fit.agreeing < _ALL_OF_IT else 1.0
        if beside in self.fits:
            return Course(pose, (self._pose(beside) - pose) / (self._t_s[beside] - t_s), t_s, shown)
        ends = [max(number - 1, 0), min(number + 1, len(self._t_s) - 1)]
        speed = np.diff(self._expected[ends], axis=0)[0] / np.diff(self._t_s[ends])
        return Course(pose, speed, t_s, shown)

    def _starts(self, number: int, course: Course | None) -> list[Floats]:
        """Poses from which to look: the last place carried on, then what the sparse poses say if that is another."""
        expected = self._expected[number]
        if course is None:
            return [expected]
        carried_on = course.at(self._t_s[number])
        apart = np.abs(carried_on - expected)
        is_same = apart[:2].max() < self._nearby_mm / _SHIFTED_PX and apart[2] < _SAME_RAD
        return [carried_on] if is_same else [carried_on, expected]

    def _pose(self, number: int) -> Floats:
        fit = self.fits[number]
        return np.array([*fit.place_mm, fit.heading_rad])

    def _fitted(
        self,
        picture: Windowed,
        starts: list[Floats],
        *,
        course: Course | None,
        t_s: float,
        last: Fit | None = None,
    ) -> Fit | None:
        """A good fit from the first of the starts that leads to one; `last` is that from the last, if it is known.

        Of a boat that was seen just before, or is seen just after, a part is enough.
        """
        expected: Fit | None = None
        if course is not None and course.shown < 1.0:
            expected = self._expected_part(picture, course.at(t_s))
            if expected is not None and expected.agreeing > _RIVAL * course.shown:
                return expected
        for start in starts:
            fit = last if last is not None and start is starts[-1] else self._whole_of_it(picture, start)
            if fit.good:
                return self._or_part(picture, fit, [start])
        if course is None:
            return self._loose(fit)
        expected = expected or self._expected_part(picture, course.at(t_s))
        if expected is not None and expected.agreeing > _MOST_OF_IT:
            return expected
        ways = course.ways(t_s, starts, step_mm=self._nearby_mm)
        return self._part_of_it(picture, expected, ways, course.shown) or self._loose(fit)

    def _or_part(self, picture: Windowed, fit: Fit, starts: Sequence[Floats]) -> Fit:
        """A good fit; or that of a part, if the outline's parts disagree and one of them is more like the boat.

        A sail of the boat's own colour that stands out beyond the stern pulls the whole fit along with it, while all
        the rest of the boat is seen in its place.
        """
        if self._is_loose or fit.u_parts_mm < AGREED_PX * self._nearby_mm / _SHIFTED_PX:
            return fit
        poses = np.array([[*fit.place_mm, fit.heading_rad], *starts])
        parts = self.fitter.fits_partly(picture, place_mm=poses[:, :2], heading_rad=poses[:, 2])
        good = [part for part in parts if part.good and self._is_there(part, list(poses))]
        best = min(good, key=self._badness, default=fit)
        return best if self._badness(best) < _BETTER * self._badness(fit) else fit

    def _badness(self, fit: Fit) -> float:
        """Mean square of residual over noise, what is not seen of the boat counting as quite unlike it."""
        shown = fit.agreeing if fit.is_partial else 1.0
        return shown * fit.misfit**2 + (1 - shown) * (_UNLIKE * self._usual_misfit) ** 2

    def _whole_of_it(self, picture: Windowed, start: Floats) -> Fit:
        return self.fitter.fit(picture, place_mm=start[:2], heading_rad=float(start[2]))

    def _loose(self, fit: Fit) -> Fit | None:
        """A fit of a boat that never looks quite as learnt (foil): all of its track is doubtful anyway."""
        return fit if self._is_loose and fit.strength > _LOOSELY and fit.misfit < _LOOSE_MISFIT else None

    def _part_of_it(self, picture: Windowed, expected: Fit | None, others: list[Floats], shown: float) -> Fit | None:
        """The expected fit; one elsewhere only if it shows much more, most of what was `shown`, no third as much."""
        found = self._parts(picture, others)
        best = max(found, key=lambda fit: fit.agreeing, default=None)
        least = max(_MOST_OF_IT * shown, 0.0 if expected is None else expected.agreeing / _RIVAL)
        if best is None or best.agreeing < least:
            return expected
        rivals = [fit.agreeing for fit in found if not self._is_there(best, [fit.place_mm])]
        return best if max(rivals, default=0.0) < _RIVAL * best.agreeing else None

    def _expected_part(self, picture: Windowed, start: Floats) -> Fit | None:
        """A part where the boat must be; even a small one, if the whole picture of it says the same place.

        Under a sail that hides half of a boat the whole fit is right, but looks too bad to be believed alone.
        """
        fit = self.fitter.fits_partly(picture, place_mm=start[None, :2], heading_rad=start[2:])[0]
        if not self._is_there(fit, [start]):
            return None
        if fit.good:
            return fit
        if not fit.is_precise or fit.agreeing < _LITTLE:
            return None
        whole = self._whole_of_it(picture, start)
        turned_mm = abs(whole.heading_rad - fit.heading_rad) * float(np.hypot(*self.fitter.hull.edge_mm.T).max())
        is_same = max(float(np.hypot(*(whole.place_mm - fit.place_mm))), turned_mm) < _SAME_MM
        return fit if is_same and whole.is_settled and whole.stands_out else None

    def _parts(self, picture: Windowed, starts: list[Floats]) -> list[Fit]:
        """Good fits of a part of the boat, each where its start was."""
        poses = np.array(starts)
        fits = self.fitter.fits_partly(picture, place_mm=poses[:, :2], heading_rad=poses[:, 2])
        return [fit for fit, start in zip(fits, starts, strict=True) if fit.good and self._is_there(fit, [start])]

    def _is_afloat(self, fit: Fit) -> bool:
        """Whether none of the boat would lie beyond the tank's wall.

        The bow of a boat that touches a wall looks much like the stern of one beyond it.
        """
        c, s = np.cos(fit.heading_rad), np.sin(fit.heading_rad)
        outline_mm = fit.place_mm + _WELL_INSIDE * self.fitter.hull.edge_mm @ np.array([[c, s], [-s, c]])
        return bool(within(self._tank, self.fitter.plane.pixels(outline_mm)).all())

    def seek(self, seeker: Seeker) -> bool:
        """Look for the boat all over the pictures in which it was missed; whether it was found in any."""
        missed, known, is_found = self._missed(self.film.count), np.array(sorted(self.fits)), False
        for batch in batched(self.film.pictures(missed), _SOUGHT_TOGETHER_COUNT):
            near = self._expected[[number for number, _ in batch]]
            if len(known):
                near = np.array([self._pose(int(known[np.abs(known - number).argmin()])) for number, _ in batch])
            fits = seeker.again([picture for _, picture in batch], headings_rad=near[:, 2])
            good = {number: fit for (number, _), fit in zip(batch, fits, strict=True) if fit is not None}
            self.fits.update(good)
            is_found = is_found or bool(good)
        return is_found
