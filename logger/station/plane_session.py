"""From pictures to a calibrated water plane, with every check on the way; the commands and the pages both come here.

Nothing is written here, and nothing is asked: `PlaneWish` holds all that was given, `work_out` either refuses, in
words, or gives a `PlaneResult` that says how good it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.board import BoardSeen, CharucoBoard
from calibration.errors import CalibrationError
from calibration.floor import DepthReading, Floor, floor_from
from calibration.length_check import KnownLength, LengthCheck, Way, check_length, is_long_enough, scale_words
from calibration.lens import Floats, Lens
from calibration.plane import (
    FOUND_U_PX,
    POINTED_U_PX,
    Afloat,
    PlacedMark,
    Seen,
    WaterEffect,
    board_seen,
    floor_seen,
    plane_from,
    rim_seen,
    water_effect,
)
from calibration.plane_fit import PlaneFit
from calibration.plane_remedies import DepthsRead, Remedy, remedies
from calibration.plane_worth import Worth, sees, worth
from calibration.rim_marks import find_rim_marks
from calibration.steady import Moved, landmarks, moved, verdict
from calibration.tape_grid import TapeGrid, find_crossings
from calibration.targets import PLANE_BOARD
from calibration.waterplane import View
from logger.config import Rig
from logger.errors import InputError
from logger.recording.stills import Still

GOAL_MM = 3.0
"""What a technician should reach over the whole tank, 95 %."""
_MOVED_ALLOWED_MM = 1.0
"""By so much the camera may have moved while the tank was filled."""
_LIKE_A_UNIT, _OTHER_DEPTH_SHARE = 0.3, 0.3
_SAME_BOARD_PX = 40.0
"""A board that moved less than this between two pictures is in the same place."""


@dataclass(frozen=True, slots=True, eq=False)
class PlaneWish:
    """All that was given for one calibration of the plane."""

    rig: Rig
    lens: Lens
    lens_covariance: Floats | None
    """(9, 9) in the order of LENS_PARAMETERS."""
    way: Way
    pictures: tuple[Still, ...] = ()
    """Of the rim: one; of a floating board: one for each place of it."""
    dry: Still | None = None
    """Of the floor without water."""
    filled: Still | None = None
    """Of the floor through the water."""
    marks: tuple[PlacedMark, ...] = ()
    filled_px: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """By name, where marks are in the filled picture; only needed for those that were pointed at."""
    grid: TapeGrid | None = None
    grid_corners_px: tuple[tuple[float, float], ...] = ()
    """About where its four outermost crossings are, in the first picture of the floor."""
    readings: tuple[DepthReading, ...] = ()
    u_depth_mm: float = 2.0
    level_mm: float = 0.0
    """What the marks' heights are measured from, above the water."""
    u_level_mm: float = 1.0
    u_mark_mm: float = 1.0
    board: CharucoBoard = PLANE_BOARD
    afloat: Afloat = field(default_factory=Afloat)
    checks: tuple[KnownLength, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """One picture, with what was found and fitted in it."""

    picture: Still
    names: tuple[str, ...]
    places_mm: Floats
    """(N, 2) tank x, y."""
    found_px: Floats
    """(N, 2)"""
    fitted_px: Floats
    """(N, 2)"""


@dataclass(frozen=True, slots=True, eq=False)
class PlaneResult:
    """A calibrated water plane and how good it is."""

    wish: PlaneWish
    fit: PlaneFit
    worth: Worth
    """Over the tank."""
    shown: tuple[Shown, ...]
    checks: tuple[LengthCheck, ...]
    """They all agree."""
    effect: WaterEffect | None
    doubts: tuple[str, ...]
    """What a person should know, one sentence each."""
    remedies: tuple[Remedy, ...] = ()
    """What would make it better, the best first; only looked for where it is not good enough."""


def work_out(wish: PlaneWish) -> PlaneResult:
    """The water plane.

    Raises:
        InputError: what was given cannot be used, cannot be right, or does not agree with a known length.
    """
    try:
        seen, shown_in = _seen(wish)
        fit = plane_from(seen, wish.lens, wish.lens_covariance, place=f"calibrate plane: {wish.way}")
    except CalibrationError as error:
        raise InputError(str(error)) from error
    doubts = [*seen.doubts, *fit.doubts, *_stood_still(wish, fit.view)]
    doubts += [*_view_of_the_tank(wish, fit.view), *_depth_doubts(wish)]
    effect = water_effect(fit, seen)
    checks, more = _checks(wish, fit.view, effect)
    over = worth(fit.view, wish.rig.tank.outline_mm)
    return PlaneResult(
        wish, fit, over, tuple(_shown(seen, fit, shown_in)), checks, effect, (*doubts, *more),
        () if over.worst_mm <= GOAL_MM else _remedies(wish, seen, fit),
    )  # fmt: skip


def _remedies(wish: PlaneWish, seen: Seen, fit: PlaneFit) -> tuple[Remedy, ...]:
    depths = DepthsRead(wish.readings, wish.u_depth_mm) if wish.readings else None
    return remedies(
        seen, fit, wish.rig.tank.outline_mm, lens_covariance=wish.lens_covariance, depths=depths, goal_mm=GOAL_MM
    )


# --- what was seen ---


def _seen(wish: PlaneWish) -> tuple[Seen, list[Still]]:
    """Everything that was seen, and the picture of each look."""
    for picture in (*wish.pictures, wish.dry, wish.filled):
        if picture is not None:
            _check_size(picture, wish.lens)
    if wish.way == "floor":
        return _floor(wish)
    if not wish.pictures:
        raise InputError("calibrate plane: found no picture; give --picture FILE, or let the rig's camera take it")
    first = wish.pictures[0]
    marks = rim_seen(
        wish.marks, _found_marks(first) if wish.marks else {}, level_mm=wish.level_mm, u_level_mm=wish.u_level_mm,
        u_mark_mm=wish.u_mark_mm, way=wish.way,
    )  # fmt: skip
    if wish.way == "rim":
        return marks, [first]
    boards, places = _boards(wish)
    return board_seen(boards, wish.afloat, marks), [first, *places]


def _check_size(picture: Still, lens: Lens) -> None:
    height_px, width_px = picture.grey.shape
    if (width_px, height_px) == (lens.width_px, lens.height_px):
        return
    turned = ""
    if (height_px, width_px) == (lens.width_px, lens.height_px):
        turned = "; it is turned on its side"
    raise InputError(
        f"{picture.name}: found {width_px} x {height_px} pixels{turned}; the lens was calibrated for {lens.width_px} x "
        f"{lens.height_px}; take pictures with the camera's settings of the run, or calibrate the lens for this size"
    )


def _found_marks(picture: Still) -> dict[int, Floats]:
    return {number: mark.middle_px for number, mark in find_rim_marks(picture.grey).items()}


def _boards(wish: PlaneWish) -> tuple[list[BoardSeen], list[Still]]:
    """The board wherever it was seen in a new place."""
    boards: list[BoardSeen] = []
    places: list[Still] = []
    reasons = []
    for picture in wish.pictures:
        found = wish.board.find(picture.grey)
        if not found:
            reasons.append(f"{picture.name}: {getattr(found, 'reason', '')}")
            continue
        assert isinstance(found, BoardSeen)  # noqa: S101 - the other kind is false
        middle = found.pixels.mean(0)
        if all(np.linalg.norm(middle - other.pixels.mean(0)) > _SAME_BOARD_PX for other in boards):
            boards.append(found)
            places.append(picture)
    if not boards:
        told = reasons[0] if reasons else "no picture"
        raise InputError(
            f"calibrate plane: the floating board was not found ({told}); wanted the plane board of boatrun print "
            "targets, flat, whole and evenly lit; has it been laid the right way up?"
        )
    return boards, places


def _floor(wish: PlaneWish) -> tuple[Seen, list[Still]]:
    pictures = [picture for picture in (wish.dry, wish.filled) if picture is not None]
    if not pictures:
        raise InputError("calibrate plane: found no picture of the floor; give --dry, --filled, or best both")
    if wish.grid is not None:
        return _grid(wish, wish.grid)
    if not wish.marks:
        raise InputError("calibrate plane: found neither --marks nor --grid; wanted what lies on the floor, and where")
    places = np.array([[mark.x_mm, mark.y_mm] for mark in wish.marks])
    floor = _measured_floor(wish, places)
    dry, filled = (
        None if p is None else _marks_px(wish, p, is_first=p is pictures[0]) for p in (wish.dry, wish.filled)
    )
    pointed = any(mark.pixel is not None for mark in wish.marks)
    u_mark = [wish.u_mark_mm if mark.u_mm is None else mark.u_mm for mark in wish.marks]
    seen = floor_seen(
        places, [mark.name for mark in wish.marks], floor, dry_px=dry, filled_px=filled,
        u_px=POINTED_U_PX if pointed else FOUND_U_PX, u_mark_mm=u_mark,
    )  # fmt: skip
    return seen, _looks(seen, wish)


def _measured_floor(wish: PlaneWish, places: Floats) -> Floor:
    for one in wish.readings:
        _refuse_unit(one.depth_mm, wish.rig.tank.water_depth_mm)
    return floor_from(wish.readings, u_mm=wish.u_depth_mm, about_mm=(places.max(0) + places.min(0)) / 2)


def _refuse_unit(depth_mm: float, known_mm: float) -> None:
    """Against a depth in cm or inches; another one in mm may well be true."""
    for unit, mm in (("cm", 10.0), ("inches", 25.4)):
        if abs(depth_mm * mm / known_mm - 1) < _LIKE_A_UNIT:
            raise InputError(
                f"calibrate plane: found a water depth of {depth_mm:g} mm; the rig file says {known_mm:g} mm: was it "
                f"typed in {unit}? Give it in mm; if it is true, change water_depth_mm in the rig file first"
            )


def _depth_doubts(wish: PlaneWish) -> list[str]:
    known_mm = wish.rig.tank.water_depth_mm
    read = [one.depth_mm for one in wish.readings]
    if wish.way != "floor" or not read or abs(float(np.mean(read)) - known_mm) < _OTHER_DEPTH_SHARE * known_mm:
        return []
    return [
        f"the water is {np.mean(read):.0f} mm deep by the ruler and {known_mm:g} mm by the rig file: which is true?"
    ]


def _marks_px(wish: PlaneWish, picture: Still, *, is_first: bool) -> Floats:
    """(N, 2) where the marks are in one picture of the floor; NaN where not."""
    found = _found_marks(picture)
    rows = []
    for mark in wish.marks:
        pointed = mark.pixel if is_first else wish.filled_px.get(mark.name)
        if pointed is not None:
            rows.append(np.array(pointed))
        else:
            rows.append(found.get(-1 if mark.number is None else mark.number, np.full(2, np.nan)))
    return np.array(rows)


def _grid(wish: PlaneWish, grid: TapeGrid) -> tuple[Seen, list[Still]]:
    places = grid.places_mm()
    names = [f"{n % grid.columns + 1}/{n // grid.columns + 1}" for n in range(len(places))]
    floor = _measured_floor(wish, places)
    corners = np.array(wish.grid_corners_px, np.float64).reshape(-1, 2)
    first = wish.dry if wish.dry is not None else wish.filled
    if first is None:
        raise InputError("calibrate plane: found no picture of the floor")
    looked = _crossings_px(wish, grid, first, corners)
    if wish.dry is None or wish.filled is None:
        key = "dry_px" if wish.dry is not None else "filled_px"
        seen = floor_seen(places, names, floor, u_mark_mm=wish.u_mark_mm, **{key: looked})  # type: ignore[arg-type]
        return seen, _looks(seen, wish)
    alone = floor_seen(places, names, floor, dry_px=looked, u_mark_mm=wish.u_mark_mm)
    dry_view = plane_from(alone, wish.lens, wish.lens_covariance, place="calibrate plane: the dry floor").view
    four = places[list(grid.corner_indices())]
    under = np.column_stack([four, -floor.depth_mm(four)])
    again = _crossings_px(wish, grid, wish.filled, dry_view.to_pixels_through_water(under))
    seen = floor_seen(places, names, floor, dry_px=looked, filled_px=again, u_mark_mm=wish.u_mark_mm)
    return seen, _looks(seen, wish)


def _crossings_px(wish: PlaneWish, grid: TapeGrid, picture: Still, corners_px: Floats) -> Floats:
    found = find_crossings(picture.grey, wish.lens, grid, corners_px)
    pixels = np.full((grid.columns * grid.rows, 2), np.nan)
    pixels[list(found.index)] = found.pixels
    return pixels


def _looks(seen: Seen, wish: PlaneWish) -> list[Still]:
    """The picture of each look at each set of marks, in the order of the fit's residuals."""
    order = []
    for marks in seen.marks:
        for _, is_wet in marks.looks:
            picture = wish.filled if is_wet else wish.dry
            if picture is not None:
                order.append(picture)
    return order


# --- what was made of it ---


def _stood_still(wish: PlaneWish, view: View) -> list[str]:
    """Whether the camera stood still while the tank was filled; refuses it if it surely did not."""
    if wish.dry is None or wish.filled is None:
        return []
    outline = np.array(wish.rig.tank.outline_mm)
    then = landmarks(wish.dry.grey, view, water_mm=outline)
    seen = moved(then, wish.filled.grey, outline)
    if not isinstance(seen, Moved):
        return [f"whether the camera stood still while the tank was filled cannot be told: {seen}"]
    said = verdict(seen, _MOVED_ALLOWED_MM)
    shift = f"{seen.shift_mm:.1f} ± {2 * seen.u_mm:.1f} mm on the water"
    if said == "moved":
        raise InputError(
            f"calibrate plane: the camera moved by {shift} between the dry picture and the filled one; wanted one that "
            "stands still; fix it and begin anew, or use --filled alone"
        )
    return [] if said == "steady" else [f"the camera may have moved by {shift} while the tank was filled"]


def _view_of_the_tank(wish: PlaneWish, view: View) -> list[str]:
    outline = np.array(wish.rig.tank.outline_mm)
    inner = 0.98 * outline + 0.02 * outline.mean(0)
    if not sees(view, [outline.mean(0)])[0] and not sees(view, inner).any():
        raise InputError(
            "calibrate plane: the tank of the rig file would not be in the picture at all; wanted places of marks in "
            "the tank's frame, in mm: x along the run, 0 at the start line, y to the left; were cm typed?"
        )
    hidden = int(np.count_nonzero(~sees(view, inner)))
    return [f"{hidden} of {len(inner)} corners of the tank are outside of the picture"] if hidden else []


def _checks(wish: PlaneWish, view: View, effect: WaterEffect | None) -> tuple[tuple[LengthCheck, ...], list[str]]:
    """Known lengths set against the plane; refuses it if one does not agree."""
    if not wish.checks:
        return (), [
            "not set against a known length: a wrong scale (print, depth, marks taken for the surface) would not show; "
            "lay a ruler on the water and give its length (--check-length)"
        ]
    try:
        done = tuple(check_length(view, known) for known in wish.checks)
    except ValueError as error:
        raise InputError(f"calibrate plane: {error}; point at both its ends again") from error
    depth = effect.depth_mm if effect is not None else wish.rig.tank.water_depth_mm
    wrong = scale_words(done, wish.way, height_mm=float(view.pose.camera_mm[2]), depth_mm=depth)
    if wrong:
        raise InputError(f"calibrate plane: {' | '.join(wrong)}")
    xs, ys = zip(*wish.rig.tank.outline_mm, strict=True)
    longest = max(max(xs) - min(xs), max(ys) - min(ys))
    if not any(is_long_enough(known, area_length_mm=longest) for known in wish.checks):
        return done, [f"the known length is short beside a tank of {longest:.0f} mm; a longer one says more"]
    return done, []


def _shown(seen: Seen, fit: PlaneFit, pictures: Sequence[Still]) -> list[Shown]:
    shown, first, residuals = [], 0, list(fit.residuals_px)
    queue = list(pictures)
    for marks in seen.marks:
        names = seen.names[first : first + len(marks.pixels)]
        first += len(names)
        for pixels, _ in marks.looks:
            off = residuals.pop(0)
            shown.append(Shown(queue.pop(0), names, marks.points_mm[:, :2], pixels, pixels - off))
    for board in seen.boards:
        off = residuals.pop(0)
        places = fit.view.to_plane(board.pixels, z_mm=board.points_mm[:, 2])
        shown.append(Shown(queue.pop(0), (), places, board.pixels, board.pixels - off))
    return shown
