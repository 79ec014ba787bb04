"""The shape of a boat seen from above, as a closed polygon in its own frame: x forward, y to the left, mm."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

_ROUND_FROM = 0.4
"""How many blurs farther in than blur alone explains a corner is called round: smaller roundings do not show."""
_ACUTE_RAD, _FLAT_RAD = 0.74, 1.4
"""Half angles between which a corner's own roundness can be read; a sharp bow is drawn sharp."""
_ARC_COUNT = 7


def moments(polygon: Floats) -> tuple[float, Floats, Floats]:
    """Area (mm², positive when anticlockwise), centroid (2,) and central second moments (2, 2) mm² of a polygon (N, 2).

    Green's theorem over the edges; the second moments are divided by the area, so a rectangle a×b gives a²/12, b²/12.
    """
    middle = polygon.mean(axis=0)
    x, y, x2, y2, cross = _edges(polygon, middle)
    area = float(cross.sum() / 2)
    if area == 0:
        return 0.0, middle, np.zeros((2, 2))
    centre = np.array([((x + x2) * cross).sum(), ((y + y2) * cross).sum()]) / (6 * area)
    xx = ((x * x + x * x2 + x2 * x2) * cross).sum() / (12 * area) - centre[0] ** 2
    yy = ((y * y + y * y2 + y2 * y2) * cross).sum() / (12 * area) - centre[1] ** 2
    xy = ((x * y2 + 2 * x * y + 2 * x2 * y2 + x2 * y) * cross).sum() / (24 * area) - centre[0] * centre[1]
    return area, centre + middle, np.array([[xx, xy], [xy, yy]])


def _edges(polygon: Floats, middle: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """(N,) each: beginnings of the edges about the `middle` (x, y), their ends (x, y), and twice the areas there."""
    x, y = (polygon - middle).T
    x2, y2 = np.append(x[1:], x[:1]), np.append(y[1:], y[:1])
    return x, y, x2, y2, x * y2 - x2 * y


def axis(second: Floats) -> tuple[float, float]:
    """Direction (rad, within ±π/2) of the long axis of second moments (2, 2), and long over short (1 = round)."""
    values, vectors = np.linalg.eigh(second)
    long = vectors[:, 1] * (1 if vectors[0, 1] >= 0 else -1)
    return float(np.arctan2(long[1], long[0])), float(np.sqrt(max(values[1], 1e-12) / max(values[0], 1e-12)))


def evenly(polygon: Floats, count: int) -> Floats:
    """`count` points (count, 2) at equal steps of arc length along the closed polygon, in its own sense."""
    along, closed = _arc(polygon)
    return _at((np.arange(count) + 0.5) * along[-1] / count, along, closed)


def _arc(polygon: Floats) -> tuple[Floats, Floats]:
    closed = np.vstack([polygon, polygon[:1]])
    return np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]), closed


def _at(arc: Floats, along: Floats, closed: Floats) -> Floats:
    where = arc % along[-1]
    return np.column_stack([np.interp(where, along, closed[:, 0]), np.interp(where, along, closed[:, 1])])


def corners(polygon: Floats, *, blunt_mm: float, least_turn_rad: float = 0.7) -> Floats:
    """Arc positions (C,) mm of the corners of a closed anticlockwise polygon (N, 2).

    A corner is where the outline turns by more than `least_turn_rad` within `blunt_mm`: sharper than it can be seen.
    """
    along, closed = _arc(polygon)
    count = max(16, int(np.ceil(along[-1] / (blunt_mm / 4))))
    at = np.arange(count) * along[-1] / count
    points = _at(at, along, closed)
    half = max(1, round(blunt_mm / 2 / (along[-1] / count)))
    ahead = np.roll(points, -half, axis=0) - points
    behind = points - np.roll(points, half, axis=0)
    turn = np.arctan2(behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0], (behind * ahead).sum(axis=1))
    found = []
    while turn.max() > least_turn_rad:
        k = int(np.argmax(turn))
        found.append(at[k])
        turn[(k + np.arange(-2 * half, 2 * half + 1)) % count] = 0.0
    return np.sort(np.array(found, np.float64))


def laid_out(polygon: Floats, count: int, *, blunt_mm: float) -> tuple[Floats, NDArray[np.bool_]]:
    """About `count` points (M, 2) along the polygon: some on each side, `blunt_mm` away from its ends, one a corner.

    Returns:
        The points, and (M,) which of them are corners.
    """
    along, closed = _arc(polygon)
    whole = along[-1]
    at = corners(polygon, blunt_mm=max(2 * blunt_mm, whole / count))
    if len(at) == 0:
        return evenly(polygon, count), np.zeros(count, bool)
    points, is_corner = [], []
    for first, last in zip(at, np.append(at[1:], at[0] + whole), strict=True):
        margin = min(blunt_mm, 0.3 * (last - first))
        pieces = max(3, round(count * (last - first) / whole))
        points.append(_at(np.linspace(first + margin, last - margin, pieces), along, closed))
        points.append(_at(np.array([last]), along, closed))
        is_corner.append(np.arange(pieces + 1) == pieces)
    return np.vstack(points), np.concatenate(is_corner)


def normals(points: Floats, is_corner: NDArray[np.bool_]) -> Floats:
    """Outward unit normals (N, 2) of an anticlockwise closed row of points (N, 2).

    None looks across a corner; a corner's own halves the angle between those beside it.
    """
    after = np.where(np.roll(is_corner, -1)[:, None], points, np.roll(points, -1, axis=0))
    before = np.where(np.roll(is_corner, 1)[:, None], points, np.roll(points, 1, axis=0))
    outward = _outward(after - before)
    between = np.roll(outward, 1, axis=0) + np.roll(outward, -1, axis=0)
    between /= np.maximum(np.hypot(*between.T), 1e-9)[:, None]
    return np.where(is_corner[:, None], between, outward)


def _outward(along: Floats) -> Floats:
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)
    out: Floats = np.column_stack([along[:, 1], -along[:, 0]]) / length[:, None]
    return out


def convex(points: Floats) -> Floats:
    """Convex hull (M, 2) of points (N, 2), anticlockwise."""
    flat = cv2.convexHull(points.astype(np.float32), returnPoints=False).ravel()
    polygon: Floats = points[flat]
    return polygon if _edges(polygon, polygon.mean(axis=0))[-1].sum() > 0 else polygon[::-1]


def reach(polygon: Floats, directions: Floats) -> Floats:
    """(N,) how far the polygon (M, 2) extends from its origin along unit `directions` (N, 2): its support function."""
    extent: Floats = (directions @ polygon.T).max(axis=1)
    return extent


def extents(polygon: Floats) -> tuple[float, float]:
    """Length along x and width along y, mm."""
    size = np.ptp(polygon, axis=0)
    return float(size[0]), float(size[1])


def turned(points: Floats, angle_rad: float) -> Floats:
    """Points (N, 2) turned anticlockwise about the origin."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    rotated: Floats = points @ np.array([[c, s], [-s, c]])
    return rotated


def sharpened(points: Floats, is_corner: NDArray[np.bool_], *, blur_mm: float) -> Floats:
    """The closed row of points (N, 2) with its corners as they are: sharp, or as round as the point on them tells.

    A corner stands where the sides on either hand meet when drawn on. Blur alone moves its half-light inward by a known
    way; if it is farther in than that, the corner is round.
    """
    at = np.flatnonzero(is_corner)
    if len(at) == 0:
        return points
    kept: list[Floats] = []
    for k, stop in zip(at, np.append(at[1:], at[0] + len(points)), strict=True):
        start = at[at < k][-1] if (at < k).any() else at[-1] - len(points)
        leading = points[np.arange(max(start + 1, k - 5), k) % len(points)]
        side = points[np.arange(k + 1, stop) % len(points)]
        trailing = side[:5][::-1]
        meet = _meeting(leading, trailing)
        gap = np.hypot(*(trailing[-1] - leading[-1]))
        if meet is not None and np.hypot(*(meet - leading[-1])) < 2 * gap:
            kept.extend(_corner(meet, points[k], leading[-1], trailing[-1], blur_mm))
        kept.extend(side)
    return np.array(kept)


def _corner(meet: Floats, seen: Floats, before: Floats, after: Floats, blur_mm: float) -> Floats:
    """The points of a corner of which the sides from `before` and to `after` meet, its half-light being `seen`.

    An arc of radius ρ that touches both sides of an angle 2a stays ρ·(1/sin a - 1) away from the corner.
    """
    back, on = before - meet, after - meet
    back, on = back / max(np.hypot(*back), 1e-9), on / max(np.hypot(*on), 1e-9)
    inward = (back + on) / max(np.hypot(*(back + on)), 1e-9)
    half = float(np.arccos(np.clip(inward @ on, -1, 1)))
    missing, blurred = float((seen - meet) @ inward), _blunted(round(half, 3)) * blur_mm
    if missing < blurred + _ROUND_FROM * blur_mm or not _ACUTE_RAD < half < _FLAT_RAD:
        return meet[None]
    rounding = np.sqrt(missing**2 - blurred**2)
    touch = min(rounding / (1 / np.sin(half) - 1) / np.tan(half), np.hypot(*(before - meet)), np.hypot(*(after - meet)))
    radius = touch * np.tan(half)
    centre = meet + inward * radius / np.sin(half)
    ways = [turned(-inward[None], angle) for angle in np.linspace(half - np.pi / 2, np.pi / 2 - half, _ARC_COUNT)]
    arc: Floats = centre + radius * np.vstack(ways)
    return arc


@lru_cache(maxsize=256)
def _blunted(half_rad: float) -> float:
    """How far inward of a sharp corner of angle 2·`half_rad` an edge seems to lie along its middle, in blurs.

    That is where the soft step of a straight edge comes nearest, by least squares, to the light of a blurred corner.
    """
    x = np.linspace(-6, 14, 201)
    bell = np.exp(-x * x / 2) * (x[1] - x[0]) / np.sqrt(2 * np.pi)
    inside = np.linspace(-4, 6, 51)
    half_width = np.maximum(x + inside[:, None], 0) * np.tan(half_rad)
    share = (bell * (2 * ndtr(half_width) - 1)).sum(axis=1)
    edges = np.linspace(0, 5, 51)
    misfit = ((ndtr(inside[:, None] - edges) - share[:, None]) ** 2).sum(axis=0)
    return float(edges[misfit.argmin()])


def _meeting(leading: Floats, trailing: Floats) -> Floats | None:
    """Where two rows of two to four points (N, 2) meet when both are drawn on past their last, with their own bend."""
    one, other = _curve(leading), _curve(trailing)
    gap = float(np.hypot(*(trailing[-1] - leading[-1])))
    s = t = gap / 2
    for _ in range(8):  # Newton, written out: for two unknowns NumPy's solver takes ten times as long
        x, y = (_on(one, s) - _on(other, t)).tolist()
        (ax, ay), (bx, by) = (one[1] + 2 * s * one[0]).tolist(), (other[1] + 2 * t * other[0]).tolist()
        across = ay * bx - ax * by
        if abs(across) < 1e-6:
            return None
        s, t = s - (bx * y - by * x) / across, t - (ax * y - ay * x) / across
        if not (abs(s) < 4 * gap and abs(t) < 4 * gap):
            return None
    return _on(one, s) if min(s, t) > -0.1 * gap else None


def _curve(row: Floats) -> Floats:
    """(3, 2) coefficients of s², s, 1 of a parabola along the row, s = 0 at its last point; straight for two points."""
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(row, axis=0).T))])
    bend = min(2, len(row) - 1)
    powers = (s - s[-1])[:, None] ** np.arange(bend, -1, -1)
    found = np.asarray(np.linalg.lstsq(powers, row, rcond=None)[0], np.float64)
    return np.vstack([np.zeros((2 - bend, 2)), found])


def _on(curve: Floats, s: float) -> Floats:
    point: Floats = curve[0] * s * s + curve[1] * s + curve[2]
    return point
