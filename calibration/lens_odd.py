"""Pictures that do not belong to the others: another camera or zoom, turned upside down, mirrored, a bent board.

Pictures that lie upside down among the others are told first (lens_turned.py). Then the lens is fitted to all, the
picture that fits worst is put aside, and again, until just over half are left. With the lens of these every picture is
looked at. One that fits as well as the others once it is turned, mirrored, or given another focal length, and does not
before, is odd, and that is what happened to it; so is one that does not fit at all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.board import BoardSeen
from calibration.errors import CalibrationError
from calibration.lens import Lens
from calibration.lens_solve import Solved, board_pose, focal_scaled, rms_of, solve, solved_well
from calibration.lens_turned import half_turn, half_turned

_GOOD_PX, _TIMES_MEDIAN = 0.25, 3.0
_AGREED_PX = 1.0
_FEWEST = 5
_MOST_ODD_SHARE = 0.25
_FACTORS = np.geomspace(0.4, 2.5, 61)
_SAME_FACTOR = 0.01
_MOST_NAMED = 4
_SUSPECT_TIMES, _WILD_TIMES = 1.5, 5.0
_TURNED = "it is turned upside down: turn the camera or the picture back"
_NO_LENS = "its corners fit no lens: the board was bent or moved, or corners were mistaken"


@dataclass(frozen=True, slots=True)
class OddView:
    """A picture that was put aside."""

    name: str
    rms_px: float
    """How far its corners are off with the others' lens."""
    reason: str
    """What seems to have happened to it, in words."""


@dataclass(frozen=True, slots=True)
class Parted:
    """Which pictures belong together."""

    views: Mapping[str, BoardSeen]
    """Those that do."""
    odd: tuple[OddView, ...]
    doubts: tuple[str, ...] = ()
    """What a person should know, one sentence each."""


def part(views: Mapping[str, BoardSeen], *, place: str) -> Parted:
    """The views that belong together, and the odd ones.

    Raises:
        CalibrationError: more than a quarter are odd, so that it is not known which of them are the right ones.
    """
    kept, turned, unsure = _half_turned(views)
    kept, odd = _strange(kept)
    if odd:  # they may have hidden others that are turned
        kept, more, unsure = _half_turned(kept)
        turned += more
    found = [*turned, *odd]
    _refuse_many(found, len(views), place)
    order = {name: index for index, name in enumerate(views)}
    found.sort(key=lambda one: order[one.name])
    doubts = (_unsure(unsure),) if turned and unsure else ()
    return Parted({name: view for name, view in views.items() if name in kept}, tuple(found), doubts)


def _half_turned(views: Mapping[str, BoardSeen]) -> tuple[dict[str, BoardSeen], list[OddView], tuple[str, ...]]:
    """The views without those that lie upside down, these, and those that fit as well either way."""
    names, unsure = _lie_upside_down(views)
    kept = {name: view for name, view in views.items() if name not in names}
    rest = solved_well(kept) if names else None
    if rest is None:
        return dict(views), [], ()
    odd = [OddView(name, _off_px(rest.lens, views[name]), _TURNED) for name in names]
    return kept, odd, unsure


def _lie_upside_down(views: Mapping[str, BoardSeen]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of those that do, and of those that fit as well either way.

    Where a fisheye explains the pictures as they lie better than a usual lens does with some of them turned, the
    fisheye decides: what a wide lens that passes for a usual one leaves over was seen to look like turned pictures.
    """
    solved = solved_well(views)
    found = half_turned(views, solved) if solved is not None else None
    if solved is None or found is None or not found.is_sure:
        return (), ()
    if solved.lens.model == "brown":
        laid = {name: half_turn(view) if name in found.names else view for name, view in views.items()}
        try:
            wide = solve(list(views.values()), model="fisheye", with_k3=True)
            usual = solve(list(laid.values()), model="brown", with_k3=False)
        except (np.linalg.LinAlgError, cv2.error):
            return found.names, found.unsure
        if _squares(views, wide) < _squares(laid, usual):
            found = half_turned(views, wide)
    return found.names, found.unsure


def _squares(views: Mapping[str, BoardSeen], solved: Solved) -> float:
    return sum(len(views[name].pixels) * off**2 for name, off in rms_of(views, solved).items())


def _unsure(names: Sequence[str]) -> str:
    some = ", ".join(names[:_MOST_NAMED]) + (
        f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    )
    return (
        f"whether {some} lie upside down as well cannot be told from the corners, so they weigh little either way; "
        "if you know that they do, leave them out"
    )


def _strange(views: Mapping[str, BoardSeen]) -> tuple[dict[str, BoardSeen], list[OddView]]:
    """The views that agree, and those that do not, by what seems to have happened to each."""
    kept = _core(views)
    solved = solved_well(kept)
    if solved is None:
        return dict(views), []
    agreed_px = float(np.median(list(rms_of(kept, solved).values())))
    if agreed_px > _AGREED_PX:
        return dict(views), []  # nothing agrees with anything; the fit says so
    odd = []
    for name, view in views.items():
        off_px = _off_px(solved.lens, view)
        if off_px > max(_GOOD_PX / _TIMES_MEDIAN, _SUSPECT_TIMES * agreed_px):
            cause = _cause(solved.lens, view, off_px, agreed_px)
            if cause or off_px > max(_GOOD_PX, _TIMES_MEDIAN * agreed_px):
                odd.append(OddView(name, off_px, cause or _NO_LENS))
    out = {one.name for one in odd}
    return {name: view for name, view in views.items() if name not in out}, odd


def _core(views: Mapping[str, BoardSeen]) -> dict[str, BoardSeen]:
    """More than half of the views, those that agree best: the worst is taken away again and again."""
    kept, rest = dict(views), max(_FEWEST, len(views) // 2 + 1)
    while len(kept) > rest:
        solved = solved_well(kept)
        if solved is None:
            break
        rms = rms_of(kept, solved)
        del kept[max(rms, key=lambda name: rms[name])]
    return kept


def _refuse_many(odd: Sequence[OddView], count: int, place: str) -> None:
    if len(odd) > _MOST_ODD_SHARE * count:
        each = "; ".join(f"{one.name}: {one.reason}" for one in odd[:_MOST_NAMED])
        each += f"; and {len(odd) - _MOST_NAMED} more" if len(odd) > _MOST_NAMED else ""
        raise CalibrationError(
            place,
            [
                f"{len(odd)} of {count} pictures do not belong to the others ({each}); "
                "give pictures of one camera with one zoom and focus, none turned or mirrored"
            ],
        )


def _off_px(lens: Lens, view: BoardSeen) -> float:
    try:
        _, residuals = board_pose(lens, view)
    except (np.linalg.LinAlgError, cv2.error):
        return float("inf")
    return float(np.sqrt(2 * np.mean(residuals**2)))


def _cause(lens: Lens, view: BoardSeen, off_px: float, agreed_px: float) -> str:
    """What makes the picture fit as well as the others; empty if nothing does."""
    right = view.width_px - 1
    mirrored = replace(view, pixels=np.column_stack([right - view.pixels[:, 0], view.pixels[:, 1]]))
    factor, zoomed_px = _zoom(lens, view)
    causes = {
        _TURNED: _off_px(lens, half_turn(view)),
        "it is mirrored: switch mirroring off": _off_px(lens, mirrored),
        f"it fits a focal length {factor:.2f} times as long: another camera, zoom or focus": zoomed_px,
    }
    best = min(causes, key=lambda cause: causes[cause])
    plain = causes[best] <= off_px / _SUSPECT_TIMES
    fits = causes[best] <= _SUSPECT_TIMES * agreed_px or off_px > _WILD_TIMES * causes[best]
    return best if plain and fits else ""


def _zoom(lens: Lens, view: BoardSeen) -> tuple[float, float]:
    """The factor of the focal length that fits best, and what is left, px; infinite for a factor of about one."""
    off = [_off_px(focal_scaled(lens, float(factor)), view) for factor in _FACTORS]
    near = float(_FACTORS[int(np.argmin(off))])
    fine = near * np.geomspace(0.97, 1.03, 25)
    off = [_off_px(focal_scaled(lens, float(factor)), view) for factor in fine]
    factor = float(fine[int(np.argmin(off))])
    return factor, (float("inf") if abs(factor - 1) < _SAME_FACTOR else min(off))
