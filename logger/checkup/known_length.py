"""Are places on the water right now? What the calibration says of itself, and a known length seen in a picture of now.

The ends are rim marks that are looked for (#4/12: mark 4, its face 12 mm above the water) or pixels that somebody
pointed at (300,400/0). Two marks on a batten are measured apart by a steel tape, from middle to middle.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.length_check import KnownLength, check_length, is_long_enough
from calibration.plane import FOUND_U_PX, POINTED_U_PX
from calibration.plane_worth import worth
from calibration.rim_marks import find_rim_marks
from calibration.waterplane import View
from logger.checkup.acceptance import WORST_MM
from logger.checkup.gate_trials import Judged
from logger.config import Rig
from logger.errors import InputError

Grey = NDArray[np.uint8]
_NUMBER = r"\d{1,5}(?:\.\d+)?"
_END = re.compile(rf"(?:#(?P<mark>\d{{1,3}})|(?P<u>{_NUMBER}),(?P<v>{_NUMBER}))(?:/(?P<height>{_NUMBER}))?", re.ASCII)
_LENGTH = re.compile(rf"({_NUMBER})(?:(?:±|\+-|\+/-)(\d+(?:\.\d+)?))?", re.ASCII)
_USUAL_MM = 2.0
"""A tape is read to ± 2 mm where nothing else is said (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class End:
    """One end of the known length."""

    mark: int | None
    """Number of the rim mark, if it is one."""
    pixel: tuple[float, float] | None
    """Column and row, if somebody pointed at it."""
    height_mm: float


@dataclass(frozen=True, slots=True)
class Given:
    """A known length as somebody typed it."""

    ends: tuple[End, End]
    length_mm: float
    u_length_mm: float


def given(first: str, second: str, length: str) -> Given:
    """Read two ends and a length.

    Raises:
        InputError: one of them cannot be read, or the ends are not at one height.
    """
    a, b, found = _end(first), _end(second), _LENGTH.fullmatch(length.replace(" ", ""))
    if found is None or not float(found[1]) > 0:
        raise InputError(f"known length: found {length!r}; wanted a length in mm such as 1000 or 1000±2; type it again")
    if a.height_mm != b.height_mm:
        raise InputError(
            f"known length: found ends at {a.height_mm:g} and {b.height_mm:g} mm; wanted both at one height above the "
            "water; lay it level"
        )
    return Given((a, b), float(found[1]), float(found[2] or _USUAL_MM) / math.sqrt(3))


def _end(text: str) -> End:
    found = _END.fullmatch(text)
    if found is None:
        raise InputError(
            f"known length: found {text!r}; wanted a rim mark such as #4/12 or a pixel such as 300,400/0, with its "
            "height above the water in mm; type it again"
        )
    height = float(found["height"] or 0.0)
    if found["mark"]:
        return End(int(found["mark"]), None, height)
    return End(None, (float(found["u"]), float(found["v"])), height)


def placed(wanted: Given, picture: Grey) -> KnownLength:
    """The known length in the picture. InputError: a mark is not to be seen, or a pixel is outside of it."""
    marks = find_rim_marks(picture) if any(end.mark is not None for end in wanted.ends) else {}
    pixels = []
    for end in wanted.ends:
        if end.mark is not None and end.mark not in marks:
            there = ", ".join(map(str, sorted(marks))) or "none"
            raise InputError(
                f"known length: mark {end.mark} is not to be seen (seen: {there}); wanted both marks flat, whole and "
                "without glare; turn the batten and take another picture"
            )
        at = end.pixel if end.mark is None else marks[end.mark].middle_px
        if at is None:
            raise AssertionError("an end is a mark or a pixel")
        pixels.append((float(at[0]), float(at[1])))
    height, width = picture.shape
    outside = [at for at in pixels if not (-0.5 <= at[0] <= width - 0.5 and -0.5 <= at[1] <= height - 0.5)]
    if outside:
        raise InputError(
            f"known length: pixel {outside[0][0]:g},{outside[0][1]:g} is outside of the picture of {width} x {height}; "
            "point at both ends in it"
        )
    pointed = any(end.mark is None for end in wanted.ends)
    return KnownLength(
        pixels[0], pixels[1], wanted.length_mm, wanted.u_length_mm, z_mm=wanted.ends[0].height_mm,
        u_px=POINTED_U_PX if pointed else FOUND_U_PX, name="known length",
    )  # fmt: skip


def judged(view: View, rig: Rig, known: KnownLength) -> Judged:
    """Whether the calibration is good enough, and whether it holds now.

    Raises:
        InputError: the ends are no two points on the water.
    """
    try:
        check = check_length(view, known)
    except ValueError as error:
        raise InputError(f"{error}; type the ends of something on the water") from error
    outline = np.array(rig.tank.outline_mm)
    found, cures = [], []
    if not view.variations:
        found.append("the calibration does not say how well it is known")
        cures.append("calibrate the plane with boards or marks (boatrun calibrate plane)")
    else:
        worst = worth(view, outline)
        at = worst.worst_at_mm
        found.append(
            f"by the calibration places are good to ± {worst.worst_mm:.1f} mm (95 %), worst at x {at[0]:.0f}, y "
            f"{at[1]:.0f} mm; ± {WORST_MM:.0f} mm allowed"
        )
        if not worst.worst_mm <= WORST_MM:
            cures.append("calibrate the plane again, with marks all round the water")
    found.append(f"now {check.told()}")
    if not check.agreement.agrees:
        cures.append(
            "measure the length and its height again; if it stays: the water to its mark, the camera as it was, or "
            "calibrate the plane again"
        )
    along = float(np.ptp(outline[:, 0]))
    if not is_long_enough(known, area_length_mm=along):
        found.append(f"{known.length_mm:.0f} mm is short for a tank of {along:.0f} mm and says little of all of it")
        cures.append("take a longer one, at least a fifth of the tank's length")
    return Judged(not cures, tuple(found), "; ".join(cures))
