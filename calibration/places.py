"""Where things lie on the water: points that were typed, clicked in a picture, or found as rim marks, with their doubt.

Three things can be pointed at: what lies at the water, what stands above it (an emitter of a beam, a mark on the rim:
height above 0), and what lies under it (a tape on the floor: height below 0). A tape on the floor stands for the
vertical plane above it, so its place on the water is its x, y on the floor, which Snell's law gives back from where it
is seen (refraction.py). Each point carries its own doubt (pointing, typing) and what all points share (the
calibration, the depth), so that two points of a line move together where they do.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from calibration.lens import Floats
from calibration.waterplane import View

_SHARES = np.linspace(0.0, 1.0, 9)
"""Places along a line at which its doubt is looked at."""


@dataclass(frozen=True, slots=True)
class Pointed:
    """A point in the picture."""

    pixel: tuple[float, float]
    """Column and row."""
    u_px: float = 1.0
    """How well each of them was pointed at."""
    height_mm: float = 0.0
    """Of the thing pointed at, above the water; below 0: under the water, seen through its surface."""
    u_height_mm: float = 0.0
    """Standard uncertainty of the height, the same for all points of one `height_name`."""
    height_name: str = "water depth"


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A point on the water, tank frame."""

    place_mm: Floats
    """(2,)"""
    own_mm2: Floats
    """(2, 2) covariance of what no other point shares."""
    shifts_mm: Mapping[str, Floats] = field(default_factory=dict)
    """Source -> (2,): how it moves if that source is off by +1 standard uncertainty."""

    @property
    def covariance_mm2(self) -> Floats:
        """(2, 2), everything together."""
        total: Floats = self.own_mm2 + sum((np.outer(s, s) for s in self.shifts_mm.values()), np.zeros((2, 2)))
        return total

    @property
    def u_mm(self) -> float:
        """Standard uncertainty in the worst direction."""
        return math.sqrt(max(float(np.linalg.eigvalsh(self.covariance_mm2)[-1]), 0.0))


def typed(place_mm: ArrayLike, *, u_mm: float) -> Placed:
    """A point (2,) that was measured with a tape, each coordinate known to `u_mm`."""
    return Placed(np.asarray(place_mm, np.float64), np.eye(2) * u_mm**2)


def seen(pointed: Pointed, view: View, *, u_mm: float = 0.0) -> Placed:
    """A point of the picture on the water.

    Args:
        pointed: What was pointed at.
        view: The calibrated camera.
        u_mm: How well the thing stands for what is meant, such as the middle of a tape for a line.

    Raises:
        ValueError: it looks above the horizon, or lies as high as the lens.
    """
    here = _down(pointed, view, pointed.height_mm)
    if not np.isfinite(here).all():
        raise ValueError(f"pixel {pointed.pixel[0]:g},{pointed.pixel[1]:g} does not look down at the water")
    steps = np.eye(2)
    column, row = pointed.pixel
    moved = [
        _down(Pointed((column + du, row + dv), height_mm=pointed.height_mm), view, pointed.height_mm)
        - _down(Pointed((column - du, row - dv), height_mm=pointed.height_mm), view, pointed.height_mm)
        for du, dv in steps / 2
    ]
    by_pixel = np.column_stack(moved) * pointed.u_px
    shifts = {name: _down(pointed, other, pointed.height_mm) - here for name, other in view.varied().items()}
    if pointed.u_height_mm > 0:
        higher = _down(pointed, view, pointed.height_mm + pointed.u_height_mm * _sign(pointed.height_mm))
        shifts[pointed.height_name] = higher - here
    return Placed(here, by_pixel @ by_pixel.T + np.eye(2) * u_mm**2, shifts)


def _sign(height_mm: float) -> float:
    """A doubt of the depth must not lift a point out of the water."""
    return -1.0 if height_mm < 0 else 1.0


def _down(pointed: Pointed, view: View, height_mm: float) -> Floats:
    pixels = [pointed.pixel]
    if height_mm >= view.pose.camera_mm[2]:
        raise ValueError(
            f"found a height of {height_mm:g} mm; the lens itself is {view.pose.camera_mm[2]:.0f} mm above the water"
        )
    places = view.to_floor(pixels, depth_mm=-height_mm) if height_mm < 0 else view.to_plane(pixels, z_mm=height_mm)
    place: Floats = places[0]
    return place


@dataclass(frozen=True, slots=True)
class StraightLine:
    """A line from a to b with what is known of it."""

    a_mm: tuple[float, float]
    b_mm: tuple[float, float]
    u_mm: float
    """Standard uncertainty of its place across its own direction, root mean square over its length."""
    parts_mm: Mapping[str, float]
    """The same for each source alone."""
    bow_mm: float = 0.0
    """How far a point between the ends lies beside it, at most; 0 with two points."""


OWN = "pointing and typing"
"""Name of what no two points share."""


def straight_line(points: Sequence[Placed]) -> StraightLine:
    """The straight line through two points, or the nearest to more of them; it ends at the outermost.

    Raises:
        ValueError: fewer than two, or all at one place.
    """
    if len(points) < 2:
        raise ValueError(f"found {len(points)} point; a line needs two")
    places = np.array([p.place_mm for p in points])
    middle = places.mean(0)
    along = np.linalg.svd(places - middle)[2][0]
    if along @ (places[-1] - places[0]) < 0:
        along = -along
    at = (places - middle) @ along
    if np.ptp(at) < 1e-6:
        raise ValueError("found all its points at one place; two different ones are wanted")
    normal = np.array([-along[1], along[0]])
    levers = np.column_stack([np.ones(len(at)), at])
    solve = np.linalg.pinv(levers)  # straight through two points, least squares through more
    look = np.column_stack([np.ones(len(_SHARES)), at.min() + _SHARES * np.ptp(at)]) @ solve
    own = np.array([normal @ p.own_mm2 @ normal for p in points])
    parts = {OWN: math.sqrt(float(np.mean(look**2 @ own)))}
    for name in dict.fromkeys(name for p in points for name in p.shifts_mm):
        across = np.array([normal @ p.shifts_mm.get(name, np.zeros(2)) for p in points])
        parts[name] = math.sqrt(float(np.mean((look @ across) ** 2)))
    a, b = middle + at.min() * along, middle + at.max() * along
    bow = float(np.abs((places - middle) @ normal).max()) if len(points) > 2 else 0.0
    return StraightLine((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), math.hypot(*parts.values()), parts, bow)


def to_walls(line: StraightLine, outline_mm: Sequence[tuple[float, float]]) -> StraightLine:
    """The same line, longer or shorter so that it ends at the walls between which its middle lies.

    Raises:
        ValueError: its middle is not in the water.
    """
    a, b = np.array(line.a_mm), np.array(line.b_mm)
    middle, way = (a + b) / 2, (b - a) / np.linalg.norm(b - a)
    if not is_inside((float(middle[0]), float(middle[1])), outline_mm):
        raise ValueError(f"its middle {middle[0]:.0f},{middle[1]:.0f} is not in the water")
    cuts = sorted(_cuts(middle, way, outline_mm))
    before, after = max(c for c in cuts if c <= 0), min(c for c in cuts if c >= 0)
    first, last = middle + before * way, middle + after * way
    return StraightLine(
        (float(first[0]), float(first[1])), (float(last[0]), float(last[1])), line.u_mm, line.parts_mm, line.bow_mm
    )


def _cuts(middle: Floats, way: Floats, outline_mm: Sequence[tuple[float, float]]) -> Iterable[float]:
    """How far along `way` from `middle` the line meets each wall."""
    for p, q in zip(outline_mm, [*outline_mm[1:], outline_mm[0]], strict=True):
        wall = np.subtract(q, p)
        steep = way[0] * wall[1] - way[1] * wall[0]
        if abs(steep) < 1e-12 * float(np.linalg.norm(wall)):
            continue
        off = np.array(p) - middle
        share = (off[0] * way[1] - off[1] * way[0]) / steep
        if -1e-9 <= share <= 1 + 1e-9:
            yield float((off[0] * wall[1] - off[1] * wall[0]) / steep)


def is_inside(place_mm: tuple[float, float], outline_mm: Sequence[tuple[float, float]]) -> bool:
    """Whether a point lies in the polygon or on its border (to a thousandth of a millimetre)."""
    x, y = place_mm
    inside = False
    for (x0, y0), (x1, y1) in zip(outline_mm, [*outline_mm[1:], outline_mm[0]], strict=True):
        length = math.hypot(x1 - x0, y1 - y0)
        share = min(max(((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length**2, 0.0), 1.0) if length else 0.0
        if math.hypot(x0 + share * (x1 - x0) - x, y0 + share * (y1 - y0) - y) <= 1e-3:
            return True
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) * (x1 - x0) / (y1 - y0):
            inside = not inside
    return inside


def crosses_itself(outline_mm: Sequence[tuple[float, float]]) -> bool:
    """Whether two sides of the polygon that are no neighbours meet: its corners do not go round it in order."""
    count = len(outline_mm)
    sides = [(outline_mm[n], outline_mm[(n + 1) % count]) for n in range(count)]
    return any(_meet(sides[i], sides[j]) for i in range(count) for j in range(i + 2, count) if (i, j) != (0, count - 1))


def lines_meet(first: StraightLine, second: StraightLine) -> bool:
    """Whether the two lines cross between their ends."""
    return _meet((first.a_mm, first.b_mm), (second.a_mm, second.b_mm))


def _meet(
    first: tuple[tuple[float, float], tuple[float, float]], second: tuple[tuple[float, float], tuple[float, float]]
) -> bool:
    (a, b), (c, d) = first, second
    return _turn(a, b, c) * _turn(a, b, d) <= 0 and _turn(c, d, a) * _turn(c, d, b) <= 0


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def area_mm2(outline_mm: Sequence[tuple[float, float]]) -> float:
    """Area of the polygon; below 0 if its corners go round clockwise."""
    pairs = zip(outline_mm, [*outline_mm[1:], outline_mm[0]], strict=True)
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs) / 2
