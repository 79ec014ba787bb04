"""Lines and gate beams on the water plane: how far past them, how far apart, and whether two witnesses agree.

A line goes from a to b and is crossed in a direction of travel. Its normal is perpendicular to it, on the side of
travel; distances past it are counted along the normal. Two lines are never quite parallel, so the distance between them
depends on where across the tank it is taken; the angle says by how much.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibration.lens import Floats
from calibration.quantity import Quantity, Source
from calibration.waterplane import View

_LEAST_COSINE = 0.5  # beyond 60 degrees "across the line" and "along the line" can no longer be told apart


@dataclass(frozen=True, slots=True)
class PlaneLine:
    """A line on the water plane from a to b, tank frame, crossed in the direction `travel` (+x without one)."""

    name: str
    a_mm: tuple[float, float]
    b_mm: tuple[float, float]
    travel: tuple[float, float] = (1.0, 0.0)
    """Which way boats go across it; its length does not matter."""
    u_mm: float = 0.0
    """Standard uncertainty of its place across its own direction."""

    def __post_init__(self) -> None:
        numbers = (*self.a_mm, *self.b_mm, *self.travel, self.u_mm)
        if not all(math.isfinite(n) for n in numbers) or self.u_mm < 0:
            raise ValueError(f"line {self.name!r}: found {numbers}; finite numbers and an uncertainty >= 0 are wanted")
        if self.length_mm == 0:
            raise ValueError(f"line {self.name!r}: both ends are at {self.a_mm}; two different points are wanted")
        across = self._perpendicular() @ np.array(self.travel)
        if abs(across) <= _LEAST_COSINE * math.hypot(*self.travel):
            raise ValueError(f"line {self.name!r}: it runs along the direction of travel; it must lie across it")

    @property
    def length_mm(self) -> float:
        """Distance from a to b."""
        return math.hypot(self.b_mm[0] - self.a_mm[0], self.b_mm[1] - self.a_mm[1])

    @property
    def normal(self) -> Floats:
        """Unit vector (2,) across the line, on the side of travel."""
        across = self._perpendicular()
        forward: Floats = across if across @ np.array(self.travel) > 0 else -across
        return forward

    def past_mm(self, places_mm: ArrayLike) -> Floats:
        """How far (N,) the `places_mm` (N, 2) are past the line, along its normal; negative before it."""
        places = np.asarray(places_mm, np.float64).reshape(-1, 2)
        past: Floats = (places - np.array(self.a_mm)) @ self.normal
        return past

    def share_along(self, places_mm: ArrayLike) -> Floats:
        """Where along the line (N,) the `places_mm` (N, 2) are: 0 at a, 1 at b, outside of that beyond its ends."""
        places = np.asarray(places_mm, np.float64).reshape(-1, 2)
        way = np.array(self.b_mm) - np.array(self.a_mm)
        share: Floats = (places - np.array(self.a_mm)) @ way / self.length_mm**2
        return share

    def _perpendicular(self) -> Floats:
        way = np.array(self.b_mm) - np.array(self.a_mm)
        return np.array([way[1], -way[0]]) / self.length_mm


def line_in_view(
    view: View, name: str, a_px: ArrayLike, b_px: ArrayLike, *, depth_mm: float = 0.0, u_px: float = 0.5
) -> PlaneLine:
    """The line on the water above a tape seen from `a_px` to `b_px` (2,) in the picture, crossed towards +x.

    `depth_mm` is how deep under the water the tape lies (0: at its surface); its line is the vertical plane above it.
    `u_px` is how well the picture's line can be pointed at.
    """
    ends = np.array([a_px, b_px], np.float64)
    a, b = view.to_floor(ends, depth_mm=depth_mm).tolist()
    bare = PlaneLine(name, (a[0], a[1]), (b[0], b[1]))
    across = bare.normal @ view.plane_covariance(ends, np.eye(2) * u_px**2) @ bare.normal
    return PlaneLine(name, bare.a_mm, bare.b_mm, u_mm=float(np.sqrt(across.mean())))


def distance_between(first: PlaneLine, second: PlaneLine, *, at_share: float = 0.5) -> Quantity:
    """From `first` to `second` along the travel of the first, through its point at `at_share` (0 at a, 1 at b), mm.

    Negative if the second lies behind. ValueError if the second runs along that way and is never met.
    """
    start = np.array(first.a_mm) + at_share * (np.array(first.b_mm) - np.array(first.a_mm))
    way = first.normal
    slope = float(way @ second.normal)
    if abs(slope) <= _LEAST_COSINE:
        raise ValueError(f"lines {first.name!r} and {second.name!r} are not parallel enough to have a distance")
    distance = -float(second.past_mm(start)[0]) / slope
    doubts = {Source(f"{line.name} line place"): u for line, u in ((first, -first.u_mm), (second, second.u_mm / slope))}
    return Quantity(distance, "mm", doubts)


def angle_between_deg(first: PlaneLine, second: PlaneLine) -> float:
    """By how much the second line is turned against the first, anticlockwise, −90 to 90 degrees."""
    (x, y), (s, t) = first.normal, second.normal
    angle = math.degrees(math.atan2(x * t - y * s, x * s + y * t))
    return angle - 180 if angle > 90 else angle + 180 if angle <= -90 else angle


@dataclass(frozen=True, slots=True)
class Agreement:
    """Two measurements of one thing, set side by side."""

    difference: Quantity
    """Second minus first; what both share has cancelled."""
    ratio_to_expanded: float
    """|difference| / U(difference): at most 1 if they agree (the E_n number of ISO 13528, each U at 95 %)."""

    @property
    def agrees(self) -> bool:
        """Whether the difference is within its own expanded uncertainty."""
        return self.ratio_to_expanded <= 1


def agreement(first: Quantity, second: Quantity) -> Agreement:
    """Whether two measurements of one thing agree, such as a tape's and the camera's gate distance.

    ValueError if neither has any doubt of its own: then agreement means nothing.
    """
    difference = second - first
    if difference.u == 0:
        raise ValueError("neither measurement states a doubt that the other does not share; state one to compare them")
    return Agreement(difference, abs(difference.value) / difference.U)
