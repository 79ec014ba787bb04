"""How much of each pixel a polygon covers, exactly: no samples, no rounding to a sub-grid.

Each edge is cut where it enters another pixel. A piece that climbs by dy at mean column x covers, in its row, dy of
every pixel to its right and the fraction beyond x of its own; summing the signed pieces from left to right gives the
area (Green's theorem on each pixel).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def _cuts(first: Floats, last: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Edge numbers and fractions at which edges from `first` to `last` (N,) pass a whole number."""
    low, high = np.ceil(np.minimum(first, last)), np.floor(np.maximum(first, last))
    count = np.maximum(high - low + 1, 0).astype(np.int64)
    edge = np.repeat(np.arange(len(first)), count)
    step = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    run = (last - first)[edge]
    fraction = np.divide(low[edge] + step - first[edge], run, out=np.zeros(len(edge)), where=run != 0)
    return edge, fraction


def coverage(polygon_px: Floats, *, left_px: int, top_px: int, width_px: int, height_px: int) -> NDArray[np.float32]:
    """Covered fraction of each pixel of a window, (height, width), 0 to 1.

    Args:
        polygon_px: (N, 2) corners (column, row), whole numbers are pixel centres; simple; it may leave the window.
        left_px: column of the window's first pixel.
        top_px: row of the window's first pixel.
        width_px: columns of the window.
        height_px: rows of the window.
    """
    corners = np.asarray(polygon_px, np.float64) - (left_px - 0.5, top_px - 0.5)
    following = np.roll(corners, -1, axis=0)
    number = np.arange(len(corners))
    cut_x, at_x = _cuts(corners[:, 0], following[:, 0])
    cut_y, at_y = _cuts(corners[:, 1], following[:, 1])
    edge = np.concatenate([number, number, cut_x, cut_y])
    at = np.clip(np.concatenate([np.zeros(len(corners)), np.ones(len(corners)), at_x, at_y]), 0.0, 1.0)
    order = np.lexsort((at, edge))
    edge, at = edge[order], at[order]
    same = edge[1:] == edge[:-1]
    piece, begin, end = edge[:-1][same], at[:-1][same], at[1:][same]
    way = following[piece] - corners[piece]
    middle = corners[piece] + way * ((begin + end) / 2)[:, None]
    climb = way[:, 1] * (end - begin)
    row, column = np.floor(middle[:, 1]).astype(np.int64), np.floor(middle[:, 0]).astype(np.int64)
    beyond = np.where(column < 0, 0.0, climb * (middle[:, 0] - column))
    # what is left of the window covers whole rows of it; what is above, below or right of it covers nothing
    counts = (row >= 0) & (row < height_px) & (column < width_px)
    climb, beyond = climb[counts], beyond[counts]
    place = row[counts] * (width_px + 1) + np.maximum(column[counts], 0)
    size = height_px * (width_px + 1)
    pieces = np.bincount(place, climb - beyond, size) + np.bincount(place + 1, beyond, size)
    filled = np.abs(np.cumsum(pieces.reshape(height_px, width_px + 1), axis=1)[:, :width_px])
    return np.minimum(filled, 1.0).astype(np.float32)
