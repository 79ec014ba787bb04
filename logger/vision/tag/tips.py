"""Where the tips of an outline are, if they were laid out in wrong places: a pointed bow, the corners of a stern.

An outline is learnt along rays, some on each side of the boat and one on each tip (learning.py). A silhouette that a
shadow joined or a glint cut shows a bow where there is none: the rays there stand askew between two sides. So only
those are kept that lie in a row with others; where two such rows meet when drawn on is a tip.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from logger.vision.hull import Hull
from logger.vision.outline import sharpened

Floats = NDArray[np.float64]

_ASKEW_RAD = 0.2
"""Neighbours on one side look in nearly the same way."""
_LEAST_COUNT = 3
"""Fewer in a row are no side."""
_FAR_MM = 1e4


def tipped(hull: Hull) -> Floats | None:
    """(M, 2) the outline with its tips where its sides meet; None if no ray stands askew."""
    sides = _sides(hull)
    kept = sum(len(side) for side in sides)
    if len(sides) < 2 or kept + len(sides) >= len(hull.edge_mm):
        return None
    points, is_corner = [], []
    for side, after in zip(sides, [*sides[1:], sides[0]], strict=True):
        outward = hull.normal[side[-1]] + hull.normal[after[0]]
        # a tip that nobody has seen is drawn sharp: its half-light lies beyond it
        tip = hull.edge_mm[side[-1]] + _FAR_MM * outward
        points += [*hull.edge_mm[side], tip]
        is_corner += [False] * len(side) + [True]
    return sharpened(np.array(points), np.array(is_corner), blur_mm=hull.blur_mm)


def _sides(hull: Hull) -> list[list[int]]:
    """Numbers of the rays in each row of those that look in nearly the same way as the next, anticlockwise."""
    count = len(hull.edge_mm)
    turn = (hull.normal * np.roll(hull.normal, -1, axis=0)).sum(axis=1) < np.cos(_ASKEW_RAD)
    ends = hull.is_corner | np.roll(hull.is_corner, -1) | turn
    first = np.flatnonzero(ends)
    if not len(first):
        return []
    order = [int(n) for n in (np.arange(count) + first[0] + 1) % count]
    sides: list[list[int]] = [[]]
    for n in order:
        if not hull.is_corner[n]:
            sides[-1].append(n)
        if ends[n]:
            sides.append([])
    return [side for side in sides if len(side) >= _LEAST_COUNT]
