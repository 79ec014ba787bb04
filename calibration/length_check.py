"""Does the plane measure right? A known length, seen in the picture, against what the plane makes of it.

No residual shows a wrong scale: a board printed at 97 %, a floor grid taken for the water's surface, water that stands
elsewhere fit as well as ever, and every distance is wrong by the same part. Only a length that has nothing to do with
the calibration tells: a ruler on the water, the distance between two gates. The ratio of the two lengths betrays what
went wrong, for each mistake has a ratio of its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from calibration.lines import Agreement, agreement
from calibration.quantity import Quantity, Source
from calibration.refraction import WATER_INDEX
from calibration.waterplane import View

Way: TypeAlias = Literal["rim", "floor", "board"]
"""What the plane was calibrated with."""

_TOLD_APART = 0.012
"""Ratios this near are taken to be the same mistake, beside the doubt of the check itself."""
_LEAST_WORTH_MM, _MOST_RIM_MM = 5.0, 200.0
_SHORTEST_PART = 0.2
"""A known length shorter than this part of the run area says little of the whole."""


@dataclass(frozen=True, slots=True)
class KnownLength:
    """Two points in the picture and how far apart they are in truth."""

    a_px: tuple[float, float]
    b_px: tuple[float, float]
    length_mm: float
    u_length_mm: float = 1.0
    z_mm: float = 0.0
    """Height of both above the water."""
    u_px: float = 1.0
    """How well each coordinate was pointed at."""
    name: str = "ruler"


@dataclass(frozen=True, slots=True)
class LengthCheck:
    """One known length set against the plane."""

    known: KnownLength
    measured: Quantity
    """mm, by the plane."""
    agreement: Agreement
    """Measured minus known."""

    @property
    def ratio(self) -> float:
        """Measured over known; 1 if the scale is right."""
        return self.measured.value / self.known.length_mm

    def told(self) -> str:
        """Both lengths and their difference in a sentence."""
        truth = Quantity.of(self.known.length_mm, "mm", u=self.known.u_length_mm, source=self.known.name)
        both = f"the plane makes {self.measured} of the {self.known.name}'s {truth}"
        off = self.agreement.difference.value
        words = f"{both}: {off:+.1f} mm, {self.ratio - 1:+.1%}"
        return f"{words}, within what both allow" if self.agreement.agrees else f"{words}: they do not agree"


def check_length(view: View, known: KnownLength) -> LengthCheck:
    """Measure a known length by the plane, with the doubt of the whole calibration.

    Raises:
        ValueError: its ends are the same point, or not on the water.
    """
    ends = np.array([known.a_px, known.b_px], np.float64)
    length = _length(view, ends, known.z_mm)
    if not length > 0:
        raise ValueError(f"{known.name}: its ends {known.a_px} and {known.b_px} are not two points on the water")
    parts = {Source(name): _length(other, ends, known.z_mm) - length for name, other in view.varied().items()}
    a, b = view.to_plane(ends, z_mm=known.z_mm)
    way = (b - a) / length
    by_pixel = view.plane_covariance(ends, np.eye(2) * known.u_px**2, z_mm=known.z_mm)
    parts[Source(f"pointing at the {known.name}")] = math.sqrt(float(sum(way @ each @ way for each in by_pixel)))
    measured = Quantity(length, "mm", parts)
    truth = Quantity.of(known.length_mm, "mm", u=max(known.u_length_mm, 1e-3), source=known.name)
    return LengthCheck(known, measured, agreement(truth, measured))


def _length(view: View, ends_px: np.ndarray, z_mm: float) -> float:
    a, b = view.to_plane(ends_px, z_mm=z_mm)
    return float(np.linalg.norm(b - a))


def likely_mistakes(check: LengthCheck, way: Way, *, height_mm: float, depth_mm: float | None) -> list[str]:
    """What would make such a ratio, the likeliest first, each with what to do; empty where nothing is known to.

    Args:
        check: A known length that does not agree.
        way: What the plane was calibrated with.
        height_mm: Of the lens above the water.
        depth_mm: Of the water; None: not known.
    """
    tolerance = _TOLD_APART + 2 * check.agreement.difference.u / check.known.length_mm
    causes: list[tuple[float, str]] = []
    if way != "floor" and depth_mm:
        seen_wet, seen_dry = 1 + depth_mm / (WATER_INDEX * height_mm), 1 + depth_mm / height_mm
        floor = (
            "the marks lie on the floor and were taken to be at the surface: give them as a grid on the floor, with "
            "the depth (--dry or --filled, --depth-mm)"
        )
        causes += [(seen_wet, floor), (seen_dry, floor)]
    if way == "floor" and depth_mm:
        bent = depth_mm / height_mm * (1 - 1 / WATER_INDEX)
        causes += [
            (1 - bent, "a picture taken through water was given as one of the dry tank"),
            (1 + bent, "a picture of the dry tank was given as one taken through water"),
        ]
    if way == "board":
        causes += [
            (
                1 / 0.97,
                "the board was printed at 97 % (fit to page): measure ten squares, give --square-mm as measured",
            ),
            (
                1 / 0.94,
                "the board was printed at 94 % (fit to page): measure ten squares, give --square-mm as measured",
            ),
        ]
    causes += [
        (10.0, "lengths were given in mm where centimetres were meant, or the other way round"),
        (0.1, "lengths were given in cm: everything is in mm"),
        (25.4, "lengths were given in inches: everything is in mm"),
        (1 / 25.4, "lengths were given in inches: everything is in mm"),
    ]
    near = [(abs(check.ratio / ratio - 1), words) for ratio, words in causes]
    told = [words for off, words in sorted(near) if off <= tolerance]
    if way == "floor" and depth_mm:
        told += _other_depth(check.ratio, height_mm, depth_mm)
    if way == "rim":
        told += _other_height(check.ratio, height_mm)
    return list(dict.fromkeys(told))


def _other_depth(ratio: float, height_mm: float, depth_mm: float) -> list[str]:
    """By how much the depth would have to be wrong; from the dry floor, then from one seen through water."""
    deeper = [(ratio - 1) * height_mm, (ratio - 1) * height_mm * WATER_INDEX]
    low, high = sorted(depth_mm + more for more in deeper)
    if not 0 < low < high < 3 * depth_mm:
        return []
    return [f"the water is not {depth_mm:.0f} mm deep, but {low:.0f} to {high:.0f} mm: measure it again"]


def _other_height(ratio: float, height_mm: float) -> list[str]:
    """By how much marks would have to stand higher or lower than was given: the lens is so much farther from them."""
    higher_mm = height_mm * (1 / ratio - 1)
    if not _LEAST_WORTH_MM < abs(higher_mm) < _MOST_RIM_MM:
        return []
    way = "higher above the water" if higher_mm > 0 else "lower"
    return [
        f"the marks stand about {abs(higher_mm):.0f} mm {way} than was given: measure from the still water up to each"
    ]


def scale_words(checks: Sequence[LengthCheck], way: Way, *, height_mm: float, depth_mm: float | None) -> list[str]:
    """For each known length that does not agree: how far off, what it means, what to do."""
    told = []
    for check in checks:
        if check.agreement.agrees:
            continue
        causes = likely_mistakes(check, way, height_mm=height_mm, depth_mm=depth_mm)
        cure = "; perhaps " + ", or ".join(causes) if causes else ""
        if not causes:
            cure = "; measure that length, the marks and the squares of the board again, in mm"
        told.append(f"{check.told()}{cure}")
    return told


def is_long_enough(known: KnownLength, *, area_length_mm: float) -> bool:
    """Whether the known length is a fair part of the run area."""
    return known.length_mm >= _SHORTEST_PART * area_length_mm
