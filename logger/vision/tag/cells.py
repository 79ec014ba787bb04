"""Is it this number, or another one? The cells of a square whose place is known, read one by one.

The fit (fit.py) forgives what does not belong, and so it forgives a few wrong cells: two numbers differ by no more.
So wherever a square was not followed from picture to picture its cells are compared with those of all numbers. Ink and
paper are known from its own border and the paper around; a cell that is neither (under a sail, a finger, a lamp's
reflection) says nothing.
"""

from __future__ import annotations

from enum import Enum
from functools import cache

import numpy as np
from numpy.typing import NDArray

from calibration import tags
from logger.config import Tag
from logger.vision.light import PLAIN
from logger.vision.plane import Plane, sample

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

_CLEAR = 0.25
"""Ink of less than this is paper, of more than one less this is ink."""
_LEAST_COUNT = 8
"""Fewer clear cells tell nothing."""
_LEAD_COUNT = 2
"""Every other number must have so many more wrong cells."""
_WRONG_SHARE, _MOST_WRONG_SHARE = 0.15, 0.4
"""And no more than this share of the clear cells may be wrong (a sail may be as dark as ink); beyond the second it is
none."""
_SPREAD = 0.22
"""A cell is read at nine points, so far apart as shares of its side."""


class Told(Enum):
    """What the cells say."""

    THIS = "this number"
    OTHER = "another number, or none"
    NOTHING = "too few cells are clear"


def told(picture: Grey, plane: Plane, tag: Tag, *, place_mm: Floats, heading_rad: float) -> Told:
    """Whether the square at that place and heading has the number of `tag`."""
    ink = _ink(picture, plane, tag, place_mm, heading_rad)
    inner = ink[1:-1, 1:-1]
    clear = (inner < _CLEAR) | (inner > 1 - _CLEAR)
    if clear.sum() < _LEAST_COUNT:
        return Told.NOTHING
    wrong = (_numbers() != (inner > 0.5))[:, :, clear].sum(axis=2)
    own = int(wrong[tag.number or 0, 0])
    wrong[tag.number or 0, 0] = 999
    best_other = int(wrong.min())
    if best_other <= own - _LEAD_COUNT or own > _MOST_WRONG_SHARE * clear.sum():
        return Told.OTHER
    is_this = best_other >= own + _LEAD_COUNT and own <= _WRONG_SHARE * clear.sum()
    return Told.THIS if is_this else Told.NOTHING


@cache
def _numbers() -> NDArray[np.bool_]:
    """(numbers, 4 quarter turns, n, n) where each number is black within its border."""
    inner = [tags.cells(number)[1:-1, 1:-1] for number in range(tags.numbers_count())]
    return np.array([[np.rot90(black, k) for k in range(4)] for black in inner])


def _ink(picture: Grey, plane: Plane, tag: Tag, place_mm: Floats, heading_rad: float) -> Floats:
    """(n, n) how black each cell of the whole square is, 0 as the paper around it, 1 as its border; NaN unknown."""
    count = tags.side_count()
    cell = tag.size_mm / count
    # one more cell all round: the paper
    middle = (count + 2) / 2 - 0.5
    index = np.arange(count + 2)
    near = np.array([-_SPREAD, 0.0, _SPREAD])
    row = (index[:, None] + near).ravel()
    x, y = np.meshgrid((middle - row) * cell, (middle - row) * cell, indexing="ij")
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    pixels = plane.pixels(np.stack([place_mm[0] + c * x - s * y, place_mm[1] + s * x + c * y], axis=-1))
    light = sample(picture, pixels[..., 0], pixels[..., 1], PLAIN).astype(np.float64)
    whole = light.reshape(count + 2, 3, count + 2, 3).transpose(0, 2, 1, 3).reshape(count + 2, count + 2, 9)
    mean = whole.mean(axis=2)
    ring = np.ones((count + 2, count + 2), bool)
    ring[1:-1, 1:-1] = False
    border = ~ring
    border[2:-2, 2:-2] = False
    with np.errstate(all="ignore"):
        paper, black = float(np.nanpercentile(mean[ring], 70)), float(np.nanpercentile(mean[border], 30))
        ink: Floats = (paper - mean[1:-1, 1:-1]) / max(paper - black, 1.0)
    return ink
