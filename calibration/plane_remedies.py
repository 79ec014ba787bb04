"""What would make the water plane better, foretold by doing it in thought.

Each remedy adds to what was seen what it would add: marks between those that are there, readings of the depth at the
corners of the grid, a picture through the water, more places of a floating board, printed marks instead of pointing.
All of it is seen without error by the camera as it was fitted, and the fit is made again: how good places would then be
follows from where points lie and how well they are known, not from their errors.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from calibration.floor import DEPTH, PARTS, DepthReading, Floor, floor_from
from calibration.lens import Floats
from calibration.plane import FOUND_U_PX, LEVEL, POINTED_U_PX, Seen
from calibration.plane_fit import MarksSeen, PlaneFit, fit_plane, turned
from calibration.plane_worth import worth
from calibration.waterplane import View

_MOST_TOGETHER = 3
_LEAST_GAIN = 0.08
"""Remedies that gain less than this part are not told."""


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing that a person could do."""

    words: str
    """What to do."""
    worst_mm: float
    """How good the worst place would then be, 95 %."""


@dataclass(frozen=True, slots=True, eq=False)
class DepthsRead:
    """What the floor was worked out from."""

    readings: tuple[DepthReading, ...]
    u_mm: float


def remedies(
    seen: Seen,
    fit: PlaneFit,
    area_mm: ArrayLike,
    *,
    lens_covariance: Floats | None = None,
    depths: DepthsRead | None = None,
    goal_mm: float = float("inf"),
) -> tuple[Remedy, ...]:
    """What would help most first, over the polygon `area_mm` (N, 2); empty if nothing that is known of would.

    Where no single thing makes the worst place as good as `goal_mm`, up to three together that do are foretold as well.
    """
    area = np.asarray(area_mm, np.float64).reshape(-1, 2)
    now = worth(fit.view, area).worst_mm
    tried = _tried(seen, fit, area, lens_covariance, depths)
    found = [one.remedy for one in tried if one.remedy.worst_mm < (1 - _LEAST_GAIN) * now]
    if found and min(remedy.worst_mm for remedy in found) > goal_mm:
        together = _together(tried, area, depths, goal_mm)
        found += [] if together is None else [together]
    return tuple(sorted(found, key=lambda remedy: remedy.worst_mm))


@dataclass(frozen=True, slots=True, eq=False)
class _Tried:
    """A remedy, and how things would then be."""

    remedy: Remedy
    seen: Seen
    fit: PlaneFit
    covariance: Floats | None

    @property
    def has_better_depths(self) -> bool:
        """Whether depths were read twice as well for it."""
        return self.remedy.words.startswith("measure ") and "--u-depth-mm" in self.remedy.words


def _tried(
    seen: Seen, fit: PlaneFit, area: Floats, lens_covariance: Floats | None, depths: DepthsRead | None
) -> list[_Tried]:
    """All that is known of, each by itself."""
    found, middle = [], area.mean(0)
    for words, other, covariance in _tries(seen, fit, middle, lens_covariance, depths):
        again = fit_plane(
            fit.view.lens, fit.view.pose, marks=other.marks, boards=other.boards,
            boards_at=_lie(fit, middle)[: len(other.boards)], lens_covariance=covariance,
        )  # fmt: skip
        found.append(_Tried(Remedy(words, worth(again.view, area).worst_mm), other, again, covariance))
    return found


def _together(tried: Sequence[_Tried], area: Floats, depths: DepthsRead | None, goal_mm: float) -> Remedy | None:
    """The best, with what is best after it, until it is good enough; None if three are not."""
    done: list[str] = []
    for step in range(_MOST_TOGETHER):
        best = min(
            (one for one in tried if not any(_is_said(one.remedy.words, before) for before in done)),
            key=lambda one: one.remedy.worst_mm, default=None,
        )  # fmt: skip
        if best is None:
            return None
        done.append(best.remedy.words)
        if best.remedy.worst_mm <= goal_mm:
            return Remedy("; and ".join(done), best.remedy.worst_mm)
        if best.has_better_depths and depths is not None:
            depths = replace(depths, u_mm=depths.u_mm / 2)
        if step + 1 < _MOST_TOGETHER:
            tried = _tried(best.seen, best.fit, area, best.covariance, depths)
    return None


def _is_said(words: str, before: str) -> bool:
    """Whether that was done already; what was measured anew is not measured anew once more."""
    return words == before or (words.startswith("measure ") and before.startswith("measure "))


_Try = tuple[str, Seen, Floats | None]


def _tries(
    seen: Seen, fit: PlaneFit, middle: Floats, covariance: Floats | None, depths: DepthsRead | None
) -> Iterator[_Try]:
    view, at = fit.view, _lie(fit, middle)
    wider = max(1.0, fit.misfit)  # points that disagree more than stated will go on doing so
    clean = replace(
        seen,
        marks=tuple(_looked(view, marks, wider) for marks in seen.marks),
        boards=tuple(
            replace(
                board, pixels=view.to_pixels(turned(board.points_mm, lies)),
                u_px=board.u_px * wider, u_mm=board.u_mm * wider,
            )
            for board, lies in zip(seen.boards, at, strict=False)
        ),
    )  # fmt: skip
    if seen.way == "floor":
        yield from ((words, other, covariance) for words, other in _floors(clean, view, depths))
    else:
        more = _more_marks(clean, view)
        if more is not None:
            yield "put up two more marks, in the middle of the widest gaps between the others", more, covariance
        if any((np.asarray(marks.u_px) >= POINTED_U_PX).any() for marks in seen.marks):
            printed = tuple(replace(marks, u_px=FOUND_U_PX * wider) for marks in clean.marks)
            yield "use printed rim marks, which are found by themselves", replace(clean, marks=printed), covariance
    if seen.boards:
        doubled = [
            replace(board, pixels=view.to_pixels(turned(board.points_mm, lies)))
            for board, lies in zip(clean.boards, at[len(clean.boards) :], strict=True)
        ]
        yield "show the board in twice as many places", replace(clean, boards=(*clean.boards, *doubled)), covariance
    yield from ((words, other, covariance) for words, other in _measured_anew(clean, depths))
    if covariance is not None:
        yield "calibrate the lens anew, with four times as many views", clean, covariance / 4


def _measured_anew(seen: Seen, depths: DepthsRead | None) -> Iterator[tuple[str, Seen]]:
    """Places, levels, and both together, twice as well as they are known now."""
    has_slope = depths is not None and any(reading.at_mm is not None for reading in depths.readings)
    places = tuple(replace(marks, u_mm=np.asarray(marks.u_mm) / 2) for marks in seen.marks)
    yield "measure the marks' places anew, twice as well (--u-mark-mm)", replace(seen, marks=places)
    names: tuple[str, ...] = PARTS if has_slope else (DEPTH,)
    what = "depths"
    if seen.way != "floor":
        what, names = "heights above the water", (LEVEL,)
    option = "--u-depth-mm" if seen.way == "floor" else "--u-height-mm"
    for words, marks in (
        (f"measure the {what} anew, twice as well ({option})", seen.marks),
        (f"measure the marks' places and the {what} anew, both twice as well (--u-mark-mm, {option})", places),
    ):
        yield words, replace(seen, marks=tuple(_halved(one, names) for one in marks))


def _halved(marks: MarksSeen, names: Sequence[str]) -> MarksSeen:
    """The marks, with half as much doubt of what they share under these names."""
    return replace(
        marks, shared={name: shift * (0.5 if name in names else 1.0) for name, shift in marks.shared.items()}
    )


def _looked(view: View, marks: MarksSeen, wider: float) -> MarksSeen:
    """The marks where the camera would see them if nothing were off, their doubt `wider` times as wide."""
    wet = view.to_pixels_through_water(marks.points_mm)
    first = wet if marks.is_wet else view.to_pixels(marks.points_mm)
    u_px, u_mm = (np.asarray(u, np.float64) * wider for u in (marks.u_px, marks.u_mm))
    return replace(marks, pixels=first, again_px=None if marks.again_px is None else wet, u_px=u_px, u_mm=u_mm)


def _floors(seen: Seen, view: View, depths: DepthsRead | None) -> Iterator[tuple[str, Seen]]:
    if seen.floor is not None and depths is not None:
        corners = _corners(np.concatenate([marks.points_mm[:, :2] for marks in seen.marks]))
        more = [DepthReading(float(d), (float(x), float(y)))
                for d, (x, y) in zip(seen.floor.depth_mm(corners), corners, strict=True)]  # fmt: skip
        placed = [one for one in depths.readings if one.at_mm is not None]
        floor = floor_from([*placed, *more], u_mm=depths.u_mm, about_mm=corners.mean(0))
        yield "read the depth at the four corners of the grid, too", _over(seen, floor)
    once = [marks for marks in seen.marks if marks.again_px is None]
    if once:
        both = tuple(
            replace(
                marks, pixels=view.to_pixels(marks.points_mm), is_wet=False,
                again_px=view.to_pixels_through_water(marks.points_mm),
            )
            for marks in seen.marks
        )  # fmt: skip
        words = "take a picture of the dry floor as well (--dry)"
        if not any(marks.is_wet for marks in once):
            words = "take a picture through the water as well (--filled)"
        yield words, replace(seen, marks=both)
    twice = tuple(replace(marks, u_mm=np.asarray(marks.u_mm) / np.sqrt(2)) for marks in seen.marks)
    yield "tape twice as many crossings", replace(seen, marks=twice)


def _corners(places: Floats) -> Floats:
    low, high = places.min(0), places.max(0)
    return np.array([low, (high[0], low[1]), high, (low[0], high[1])])


def _over(seen: Seen, floor: Floor) -> Seen:
    """The same with another knowledge of the floor."""
    changed = []
    for marks in seen.marks:
        kept = {name: shift for name, shift in marks.shared.items() if name not in PARTS}
        changed.append(replace(marks, shared={**kept, **floor.shared(marks.points_mm[:, :2])}))
    return replace(seen, marks=tuple(changed), floor=floor)


def _more_marks(seen: Seen, view: View) -> Seen | None:
    """Two more, where going round the marks leaves the widest gaps."""
    first = seen.marks[0]
    points = first.points_mm
    if len(points) < 3:
        return None
    middle = points.mean(0)
    order = np.argsort(np.arctan2(*(points - middle)[:, 1::-1].T))
    ring = points[order]
    gaps = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    widest = np.argsort(-gaps)[:2]
    new = (ring[widest] + np.roll(ring, -1, axis=0)[widest]) / 2
    shared = {
        name: np.vstack([shift, [_like(shift[order], index) for index in widest]])
        for name, shift in first.shared.items()
    }
    u_px, u_mm = (
        np.append(np.asarray(u) * np.ones(len(points)), [np.max(u)] * 2) for u in (first.u_px, first.u_mm)
    )  # fmt: skip
    wider = MarksSeen(
        np.vstack([points, new]), np.vstack([first.pixels, view.to_pixels(new)]), u_px, u_mm, shared=shared
    )
    return replace(seen, marks=(wider, *seen.marks[1:]))


def _like(shift: Floats, index: int) -> Floats:
    """What a point in the middle between two neighbours shares with all."""
    half: Floats = (shift[index] + shift[(index + 1) % len(shift)]) / 2
    return half


def _lie(fit: PlaneFit, middle: Floats) -> list[tuple[float, float, float]]:
    """Where the boards lie, and after them as many again, across the middle of the area."""
    return [*fit.boards_at, *((2 * middle[0] - x, 2 * middle[1] - y, turn) for x, y, turn in fit.boards_at)]
