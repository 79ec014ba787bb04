"""By how much a picture is moved against how the camera should stand, and the picture put back."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache, partial
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.plane import Floats

_TILE_SPAN_PX = 1 / 16
"""Pictures are put back in tiles, each shifted as one: within a tile the move changes by no more than this."""
_MOST_TILES_COUNT = 120
"""More tiles than so many cost more than one warp of it all."""
_THIRDS = np.array([0.0, 0.5, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """By how much one picture is moved against the early ones."""

    field_px: Floats
    """(8,) numbers of the field."""
    covariance_px2: Floats
    """(8, 8)"""
    is_known: bool
    """False: too few marks are seen, and the field is a guess."""
    size: tuple[int, int]
    """Height and width of the pictures."""

    @property
    def is_still(self) -> bool:
        """Whether nothing need be put right."""
        return self.is_known and not self.field_px.any()

    def at(self, place_px: Floats) -> Floats:
        """(..., 2) by how much what belongs to `place_px` (..., 2) is seen beside it: columns, rows."""
        moved: Floats = levers(place_px, self.size) @ self.field_px
        return moved

    def covariance_at(self, place_px: Floats) -> Floats:
        """(..., 2, 2) covariance of `at`, px²."""
        lever = levers(place_px, self.size)
        covariance: Floats = lever @ self.covariance_px2 @ np.swapaxes(lever, -1, -2)
        return covariance


def levers(place_px: Floats, size: tuple[int, int]) -> Floats:
    """(..., 2, 8) how a field's numbers move a place (..., 2) in pictures of a `size` (height, width)."""
    height, width = size
    x, y = (place_px[..., 0] - width / 2) / (width / 2), (place_px[..., 1] - height / 2) / (width / 2)
    one, zero = np.ones_like(x), np.zeros_like(x)
    across = np.stack([one, zero, x, y, zero, zero, x * x, x * y], axis=-1)
    down = np.stack([zero, one, zero, zero, x, y, x * y, y * y], axis=-1)
    return np.stack([across, down], axis=-2)


class PutBack:
    """A picture, grey or BGR, as it would be without a move within a box: put back only where it is looked at."""

    def __init__(self, picture: NDArray[np.uint8], move: Move, box_px: tuple[int, int, int, int]) -> None:
        """`box_px`: left, top, right, bottom."""
        self._picture, self._move, self._box = picture, move, box_px

    def __len__(self) -> int:
        """How many rows there are."""
        return len(self._picture)

    def __getitem__(self, window: tuple[slice, slice], /) -> NDArray[np.uint8]:
        """(rows, columns) of a window."""
        (top, bottom, _), (left, right, _) = (
            part.indices(size) for part, size in zip(window, self._picture.shape, strict=False)
        )
        back = self._picture[top:bottom, left:right].copy()
        for (near, high, far, low), shown in self._tiles():
            first, last = max(near, left), min(far, right)
            upper, lower = max(high, top), min(low, bottom)
            if first < last and upper < lower:
                part = shown()[upper - high : lower - high, first - near : last - near]
                back[upper - top : lower - top, first - left : last - left] = part
        return back

    def _tiles(self) -> Iterator[tuple[tuple[int, int, int, int], Callable[[], NDArray[np.uint8]]]]:
        """Where each is (left, top, right, bottom), and how to make it."""
        tiles = _tiles(self._move, self._box)
        if not tiles:
            yield self._box, partial(_warped, self._picture, self._move, self._box)
        for near, high, far, low, middle in tiles:
            yield (near, high, far, low), partial(_shifted, self._picture, (far - near, low - high), middle)


def put_back(picture: NDArray[np.uint8], move: Move, box_px: tuple[int, int, int, int]) -> NDArray[np.uint8]:
    """All of a picture, grey or BGR, as it would be without the `move` within a box (left, top, right, bottom)."""
    return PutBack(picture, move, box_px)[:, :]


@lru_cache(maxsize=64)
def _tiles(move: Move, box_px: tuple[int, int, int, int]) -> tuple[tuple[int, int, int, int, list[float]], ...]:
    """Left, top, right, bottom of each tile and where its middle is seen; none where they were too many.

    A camera that was knocked aside stands there for many pictures.
    """
    left, top, right, bottom = box_px
    grid = np.stack(np.meshgrid(left + _THIRDS * (right - left), top + _THIRDS * (bottom - top)), axis=-1)
    moved = move.at(grid)
    columns, rows = (
        max(1, int(np.ceil(np.ptp(moved, axis=axis).max() / _TILE_SPAN_PX))) for axis in (1, 0)
    )  # fmt: skip
    if columns * rows > _MOST_TILES_COUNT:
        return ()
    across, down = (
        np.linspace(*ends).round().astype(int) for ends in ((left, right, columns + 1), (top, bottom, rows + 1))
    )
    middle = np.stack(np.meshgrid((across[:-1] + across[1:] - 1) / 2, (down[:-1] + down[1:] - 1) / 2), axis=-1)
    seen = (middle + move.at(middle)).tolist()
    return tuple(
        (near, high, far, low, seen[row][column])
        for row, (high, low) in enumerate(pairwise(down.tolist()))
        for column, (near, far) in enumerate(pairwise(across.tolist()))
        if near < far and high < low
    )


def _shifted(picture: NDArray[np.uint8], size: tuple[int, int], middle: list[float]) -> NDArray[np.uint8]:
    return np.asarray(cv2.getRectSubPix(picture, size, middle), np.uint8)


def _warped(picture: NDArray[np.uint8], move: Move, box_px: tuple[int, int, int, int]) -> NDArray[np.uint8]:
    left, top, right, bottom = box_px
    corners = np.array([[left, top], [right, top], [left, bottom], [right, bottom]])
    inner = (corners - corners[0]).astype(np.float32)
    way = cv2.getPerspectiveTransform(inner, (corners + move.at(corners.astype(np.float64))).astype(np.float32))
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    size = right - left, bottom - top
    warped = cv2.warpPerspective(picture, way, size, flags=how, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(warped, np.uint8)
