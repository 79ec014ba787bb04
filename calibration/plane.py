"""The water plane in one of three ways, as a recipe: what was seen -> the camera over the water, and how good it is.

* **rim**: four marks or more above the water, at known places and heights.
* **floor**: marks or a taped grid on the floor, seen in the dry tank, through the water, or both; and how deep it is.
* **board**: a printed board that floats, in one place or better in several; and two marks or more that say where the
  tank's frame lies.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.board import BoardSeen
from calibration.errors import CalibrationError
from calibration.floor import DEPTH, Floor
from calibration.length_check import Way
from calibration.lens import Floats, Lens
from calibration.plane_blame import contradicted, named, spoiler
from calibration.plane_fit import BoardSeenAfloat, MarksSeen, PlaneFit, fit_plane
from calibration.plane_start import start_from_boards, start_from_marks

Mask: TypeAlias = NDArray[np.bool_]
FOUND_U_PX, POINTED_U_PX = 0.3, 1.0
"""How well a mark is found by itself, and pointed at by a person."""
LEVEL = "water level"
"""Name of the doubt that all heights above the water share."""
TAPE_RATIO = 3e-4
"""Standard uncertainty of a steel tape's scale (0.7 mm at most on 2 m: Directive 2014/32/EU, MI-008, class II)."""
_HIGHEST_MM, _LOWEST_MM = 8000.0, 150.0
_SUSPICIOUS, _WILD = 2.0, 5.0
"""Misfits from which a mark is looked for that spoils it, and from which nothing is believed."""
_FEWEST_MARKS = 4


@dataclass(frozen=True, slots=True)
class PlacedMark:
    """A mark of known place, and where it is in the picture if somebody pointed at it."""

    name: str
    """Of a rim mark: its number."""
    x_mm: float
    y_mm: float
    height_mm: float = 0.0
    """Above the water, or above what all heights are measured from."""
    u_mm: float | None = None
    """Standard uncertainty of each of these; None: as for all."""
    pixel: tuple[float, float] | None = None
    """Column and row; None: it is a rim mark that is looked for."""

    @property
    def number(self) -> int | None:
        """Of a rim mark; None if its name is none."""
        return int(self.name) if self.name.isascii() and self.name.isdigit() and len(self.name) < 6 else None


@dataclass(frozen=True, slots=True)
class Afloat:
    """What is known of a floating board beside its squares. Each `u_` is a standard uncertainty."""

    height_mm: float = 4.0
    """Its printed face above the water: what the board and the float are thick, less what is under water."""
    u_height_mm: float = 1.0
    u_scale_ratio: float = 1.5e-3
    """Of its squares: 0.5 mm either way on 200 mm."""
    u_tilt_deg: float = 0.3
    """How level it floats."""
    u_bow_mm: float = 0.3
    """How much its middle stands above its rim."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Everything that was seen for one calibration."""

    way: Way
    marks: tuple[MarksSeen, ...]
    boards: tuple[BoardSeenAfloat, ...] = ()
    names: tuple[str, ...] = ()
    """Of all marks, in their order."""
    floor: Floor | None = None
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WaterEffect:
    """What the water did to marks on the floor."""

    moved_mm: float
    """How far, on the water, the mark that moved most is seen from where it was seen in the dry tank: outwards, for the
    water lifts the floor."""
    off_mm: float
    """How far, on the water, the mark that is farthest off is seen from the place above it: inwards."""
    ratio: float
    """How many times farther apart the marks are than they look on the water: all lengths on the water come out so much
    too long if the floor is taken for the surface."""
    depth_mm: float
    """Of the water at the middle of the readings, after the pictures have been heard."""
    u_depth_mm: float


def rim_seen(
    marks: Sequence[PlacedMark],
    found: Mapping[int, ArrayLike],
    *,
    level_mm: float = 0.0,
    u_level_mm: float = 1.0,
    u_mark_mm: float = 1.0,
    way: Way = "rim",
) -> Seen:
    """Marks above the water.

    Args:
        marks: Their places.
        found: Number of a rim mark -> (2,) its middle in the picture, as found by itself.
        level_mm: What their heights are measured from, above the water.
        u_level_mm: Standard uncertainty of that, the same for all marks.
        u_mark_mm: Standard uncertainty of each coordinate where a mark does not say its own.
        way: What they are used for.

    Raises:
        CalibrationError: a mark under the water, or one that is neither found nor pointed at.
    """
    names, points, pixels, u_px, u_mm, missed = _gathered(marks, found, u_mark_mm, needed=way == "rim")
    points = points + np.array([0.0, 0.0, level_mm])
    drowned = [name for name, z in zip(names, points[:, 2], strict=True) if z < 0]
    if drowned:
        wrong = (
            f"mark {', '.join(drowned)} would be under water; rim marks stand above it: "
            "measure from the water up, or use marks on the floor (--dry, --filled) with the depth"
        )
        raise CalibrationError("marks", [wrong])
    zero = np.zeros(len(points))
    shared = {"tape measure": _stretched(points)}
    if u_level_mm > 0:
        shared[LEVEL] = np.column_stack([zero, zero, zero - u_level_mm])
    doubts = [f"mark {name} was not found in the picture and is left out" for name in missed]
    seen = MarksSeen(points, pixels, u_px, u_mm, shared=shared)
    return Seen(way, (seen,), names=tuple(names), doubts=tuple(doubts))


def floor_seen(
    places_mm: ArrayLike,
    names: Sequence[str],
    floor: Floor,
    *,
    dry_px: ArrayLike | None = None,
    filled_px: ArrayLike | None = None,
    u_px: float = FOUND_U_PX,
    u_mark_mm: ArrayLike = 1.0,
) -> Seen:
    """Marks on the floor, seen in the dry tank, through the water, or both times.

    Args:
        places_mm: (N, 2) tank x, y.
        names: N names.
        floor: Its depth under the water.
        dry_px: (N, 2) in the picture of the dry tank; NaN where a mark was not found.
        filled_px: (N, 2) likewise, after filling.
        u_px: Standard uncertainty of each found coordinate.
        u_mark_mm: Standard uncertainty of each coordinate of a mark; one number or (N,).

    Raises:
        CalibrationError: no picture; or a mark that would stand out of the water.
    """
    places = np.asarray(places_mm, np.float64).reshape(-1, 2)
    depth = floor.depth_mm(places)
    out = [f"mark {name} would be {-d:.0f} mm above the water" for name, d in zip(names, depth, strict=True) if d <= 0]
    if out:
        raise CalibrationError(
            "marks", [f"{out[0]}; a mark on the floor is under it: check the depths and their places"]
        )
    if dry_px is None and filled_px is None:
        raise CalibrationError("marks", ["no picture of the floor; one of the dry tank or of the filled one is wanted"])
    nowhere = np.full((len(places), 2), np.nan)
    dry, filled = (np.asarray(nowhere if px is None else px, np.float64).reshape(-1, 2) for px in (dry_px, filled_px))
    in_dry, in_filled = (np.asarray(np.isfinite(px).all(1), np.bool_) for px in (dry, filled))
    u_mm = np.asarray(u_mark_mm, np.float64) * np.ones(len(places))
    points = np.column_stack([places, -depth])
    shared = {"tape measure": _stretched(points), **floor.shared(places)}
    groups: list[MarksSeen] = []
    ordered: list[str] = []
    parts: tuple[tuple[Mask, Floats, Floats | None], ...] = (
        (in_dry & in_filled, dry, filled),
        (in_dry & ~in_filled, dry, None),
        (~in_dry & in_filled, filled, None),
    )
    for kept, first, again in parts:
        if kept.any():
            part = {name: shift[kept] for name, shift in shared.items()}
            groups.append(
                MarksSeen(
                    points[kept], first[kept], u_px, u_mm[kept], is_wet=first is filled,
                    again_px=None if again is None else again[kept], shared=part,
                )
            )  # fmt: skip
            ordered += [name for name, keep in zip(names, kept, strict=True) if keep]
    lost = [name for name, keep in zip(names, in_dry | in_filled, strict=True) if not keep]
    doubts = [f"mark {name} was not found and is left out" for name in lost]
    return Seen("floor", tuple(groups), names=tuple(ordered), floor=floor, doubts=tuple(doubts))


def board_seen(boards: Sequence[BoardSeen], afloat: Afloat, marks: Seen) -> Seen:
    """A floating board in some pictures, and the marks that say where the tank is."""
    if afloat.height_mm < 0:
        wrong = f"found a face {-afloat.height_mm:g} mm under water; a board that floats on it is wanted"
        raise CalibrationError("board", [wrong])
    pictures = []
    for board in boards:
        # on paper y goes down; seen from above, with z up, it goes the other way
        flat = board.points_mm[:, :2] * [1.0, -1.0]
        off = flat - (flat.max(0) + flat.min(0)) / 2
        half = max(float(np.abs(off).max()), 1.0)
        zero = np.zeros(len(flat))
        lean = np.radians(afloat.u_tilt_deg)
        bowed = afloat.u_bow_mm * (1 - np.sum(off**2, axis=1) / half**2)
        shared = {
            "scale of the board": np.column_stack([flat * afloat.u_scale_ratio, zero]),
            "height of the board": np.column_stack([zero, zero, zero + afloat.u_height_mm]),
            "tilt of the board along its rows": np.column_stack([zero, zero, off[:, 0] * lean]),
            "tilt of the board across its rows": np.column_stack([zero, zero, off[:, 1] * lean]),
            "bow of the board": np.column_stack([zero, zero, bowed]),
        }
        points = np.column_stack([flat, zero + afloat.height_mm])
        pictures.append(BoardSeenAfloat(points, board.pixels, FOUND_U_PX, 0.1, shared))
    doubts = list(marks.doubts)
    if len(pictures) < 3:
        doubts.append(
            f"the board was seen in {len(pictures)} place{'s'[: len(pictures) > 1]}; better 5, all over the water"
        )
    return Seen("board", marks.marks, tuple(pictures), marks.names, doubts=tuple(doubts))


def plane_from(seen: Seen, lens: Lens, lens_covariance: Floats | None = None, *, place: str = "marks") -> PlaneFit:
    """The camera over the water.

    Raises:
        CalibrationError: what was seen cannot be, or says too little; in words.
    """
    try:
        if seen.boards:
            start = start_from_boards(lens, seen.boards, seen.marks, place=place)
        else:
            start = start_from_marks(lens, max(seen.marks, key=lambda marks: len(marks.pixels)), place=place)
    except CalibrationError as error:
        raise CalibrationError(place, [named(mistake, seen) for mistake in error.mistakes]) from error
    fit = fit_plane(
        lens, start.pose, marks=seen.marks, boards=seen.boards, boards_at=start.boards_at,
        lens_covariance=lens_covariance,
    )  # fmt: skip
    height = float(fit.view.pose.camera_mm[2])
    if not _LOWEST_MM < height < _HIGHEST_MM:
        wrong = (
            f"the camera would be {height:.0f} mm above the water; {_LOWEST_MM:.0f} to {_HIGHEST_MM:.0f} mm are "
            "believed: are all lengths in mm, and is the lens file of this camera?"
        )
        raise CalibrationError(place, [wrong])
    to_blame = "" if fit.misfit < _SUSPICIOUS else spoiler(seen, lens, lens_covariance, fit)
    wrong = "" if to_blame else contradicted(fit, seen)
    if wrong:
        raise CalibrationError(place, [wrong])
    if fit.misfit < _SUSPICIOUS:
        return fit
    if fit.misfit > _WILD:
        cure = to_blame or "check the places of all marks, their order, and the depth"
        if seen.way == "floor" and not to_blame:
            cure += ", and which picture is the one through water"
        wrong = f"what was seen does not fit together ({fit.misfit:.0f} times worse than stated); {cure}"
        raise CalibrationError(place, [wrong])
    return replace(fit, doubts=(*fit.doubts, *([to_blame] if to_blame else [])))


def water_effect(fit: PlaneFit, seen: Seen) -> WaterEffect | None:
    """What the water does to the marks on the floor; None where there are none."""
    if seen.floor is None:
        return None
    points = np.concatenate([marks.points_mm for marks in seen.marks])
    view = fit.view
    straight = view.to_plane(view.to_pixels(points))
    bent = view.seen_on_water(points[:, :2], depth_mm=-points[:, 2])
    foot = view.pose.camera_mm[:2]
    far = np.linalg.norm(bent - foot, axis=1)
    known = fit.learnt.get(DEPTH)
    middle, u = float(seen.floor.shape[0]), float(seen.floor.parts[0, 0])
    off, left = (known.off * u, known.u_off * u) if known is not None else (0.0, u)
    true = np.linalg.norm(points[:, :2] - foot, axis=1)
    ratio = float(far @ true / (far @ far)) if far.any() else 1.0
    moved = float(np.linalg.norm(bent - straight, axis=1).max())
    return WaterEffect(moved, float(np.abs(true - far).max()), ratio, middle + off, left)


def _gathered(
    marks: Sequence[PlacedMark], found: Mapping[int, ArrayLike], u_mark_mm: float, *, needed: bool
) -> tuple[list[str], Floats, Floats, Floats, Floats, list[str]]:
    """Names, places, pixels and doubts of the marks that are seen, and names of those that are not."""
    names, points, pixels, u_px, u_mm, missed, wrong = [], [], [], [], [], [], []
    for mark in marks:
        number = mark.number
        if mark.pixel is None and number is None:
            wrong.append(f"mark {mark.name}: it is no number and has no pixel; wanted one of the two")
        elif mark.pixel is None and number not in found:
            missed.append(mark.name)
        else:
            names.append(mark.name)
            points.append((mark.x_mm, mark.y_mm, mark.height_mm))
            pixels.append(np.asarray(mark.pixel if mark.pixel is not None else found[number or 0], np.float64))
            u_px.append(FOUND_U_PX if mark.pixel is None else POINTED_U_PX)
            u_mm.append(u_mark_mm if mark.u_mm is None else mark.u_mm)
    if wrong:
        raise CalibrationError("marks", wrong)
    if names and len(names) < _FEWEST_MARKS and missed and needed:
        wrong.append(
            f"only {len(names)} of {len(marks)} marks are seen (not {', '.join(missed)}); at least {_FEWEST_MARKS} "
            "are wanted: see that nothing covers them, that they are sharp, and neither too dark nor too bright"
        )
        raise CalibrationError("marks", wrong)
    if not names:
        told = f"; looked for {', '.join(missed)}" if missed else ""
        cure = "see that nothing covers them, and that the picture is not mirrored"
        raise CalibrationError("marks", [f"none of the marks is to be seen{told}; {cure}"])
    return names, np.array(points, np.float64), np.array(pixels), np.array(u_px), np.array(u_mm), missed


def _stretched(points: Floats) -> Floats:
    return np.column_stack([points[:, :2] * TAPE_RATIO, np.zeros(len(points))])
