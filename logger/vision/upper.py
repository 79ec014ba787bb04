"""How much of which pictures is decoded in the dense pass: the rows down to the boat, and none that are at hand."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from heapq import merge
from operator import itemgetter

import numpy as np

from logger.vision.glance import Film, Whole
from logger.vision.hull import Floats
from logger.vision.learning import Learnt
from logger.vision.plane import Plane, Windowed
from logger.vision.survey import Survey

_BLOCK_PX = 16
_MARGIN_PX = 32
"""How much lower the boat may be than the sparse pictures say."""


def every(film: Film, found: Survey, rows_px: list[int]) -> Iterator[tuple[int, Windowed, Whole]]:
    """All pictures from the first of the sparse pass on, their upper rows at least; its own are not decoded again."""
    held = dict(zip(found.numbers.tolist(), found.pictures, strict=True))
    others = film.upper({n: rows for n, rows in enumerate(rows_px) if n > found.numbers[0] and n not in held})
    return merge(others, ((n, picture, partial(held.get, n)) for n, picture in held.items()), key=itemgetter(0))


def rows_px(learnt: Learnt, plane: Plane, nodes: Floats, times: Floats) -> list[int]:
    """How many rows from the top hold the boat in each picture (N,); whole blocks of any JPEG.

    Args:
        learnt: with poses in a few pictures.
        plane: on which they are.
        nodes: when these pictures were taken.
        times: (N,) when all were taken, not beyond the nodes.
    """
    _, rows = learnt.hull.bundle().pixels(plane, learnt.place_mm, learnt.heading_rad)
    lowest = np.interp(times, nodes, rows.max(axis=(1, 2))) + _MARGIN_PX
    found: list[int] = (_BLOCK_PX * np.ceil(lowest / _BLOCK_PX).astype(int)).tolist()
    return found
