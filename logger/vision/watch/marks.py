"""Marks to tell by whether the camera moved: small windows on edges and corners of what stands still about the water.

Each window says by how much what it shows has moved, along the one or two directions in which its edges tell it: one
Lucas-Kanade step (1981) from where it is expected; the next may begin where it ended. Windows are read between pixels
by cubic splines: OpenCV's cubic reading moved edges by 0.03 px. A change of light or contrast within a window does not
count: the slopes are freed from the mean and from the levels themselves.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import spline_filter1d

from logger.vision.background import Grey, Mask
from logger.vision.plane import Floats, Singles
from logger.vision.watch.moves import levers

Whole = NDArray[np.int64]

HALF_PX = 8
"""Windows are so many pixels wide to either side of their middle."""
REACH_PX = 14
"""How far a lost window is looked for."""
_CELL_PX = 64
"""At most two windows are taken from a square of this size, so that no hand hides many."""
_MOST_COUNT = 24
_WORST_READING_PX = 0.06
_U_LEAST_PX = 0.02
_ALIKE = 0.8
"""Likeness (correlation) below which something else stands before a window."""
_GAIN_LEAST, _GAIN_MOST = 0.2, 4.0
"""Contrast of a window, as a factor on what it was, within which it is read."""
_LUMA = np.array([0.114, 0.587, 0.299], np.float32)
"""Weights of blue, green and red in a grey picture (ITU-R BT.601)."""
_SIDE = np.arange(-HALF_PX, HALF_PX + 1)
_MARGIN_PX = 8
"""So far beyond a window its spline needs to know the picture: the influence of an end falls to a quarter a pixel."""
_WITH_MARGIN = np.arange(-HALF_PX - _MARGIN_PX, HALF_PX + _MARGIN_PX + 1)
_TAPS = np.arange(-2, 3)
_RAMPS: Singles = np.stack(
    [np.ones((len(_SIDE),) * 2), *np.meshgrid(_SIDE / HALF_PX, _SIDE / HALF_PX)]
).reshape(3, -1).astype(np.float32)  # fmt: skip
"""(3, K) even, and rising with the columns and the rows."""
_WIDE = np.arange(-HALF_PX - REACH_PX, HALF_PX + REACH_PX + 1)


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """M readings of one picture."""

    window: Whole
    """(M,) of which window, in rising order."""
    at_px: Floats
    """(M, 2) the middles of their windows where the camera has not moved."""
    direction: Floats
    """(M, 2) unit vectors, columns and rows."""
    lever: Floats
    """(M, 8) by how much it grows with each number of a move's field."""
    off_px: Floats
    """(M,) by how much more than expected the window moved along the direction."""
    u_px: Floats
    """(M,) what noise alone does."""
    is_clear: NDArray[np.bool_]
    """(M,) whether the window shows what it should."""


@dataclass(frozen=True, slots=True, eq=False)
class _Operators:
    """What turns the W windows' levels into readings, with the windows moved as expected."""

    places: Whole
    """(W, 2) middles of where they are read: columns, rows."""
    fits: NDArray[np.bool_]
    """(W,) whether they are within the picture there."""
    lowest_row: list[int]
    """(W + 1) where the lowest of so many upper windows is read; beyond all rows if one of them does not fit."""
    index: Whole
    """(W, K) their pixels in the picture laid out row by row."""
    rows: Singles
    """(W, 4, K): two readings' operators, times the levels' size; the levels over it, free of the mean; and 1/√K."""
    size: Singles
    """(W,) root of the sum of the levels' squares."""
    window: Whole
    """(M,) window of each reading that tells something, in rising order."""
    which: Whole
    """(M,) which of the window's two it is."""
    place: Whole
    """(M,) where it stands among all 2·W."""
    direction: Floats
    """(M, 2) along which."""
    lever: Floats
    """(M, 8)"""
    u_px: Floats
    """(M,)"""


class Marks:
    """Windows of a still picture, made ready for comparing."""

    def __init__(self, centres_px: Whole, shown: Singles, size: tuple[int, int], noise_grey: float) -> None:
        self.centres_px = centres_px
        """(W, 2) middles, columns and rows, the uppermost first."""
        self._shown, self._size, self._noise = shown, size, noise_grey
        self._row_px = centres_px[:, 1].tolist()
        self._at_px = centres_px.astype(np.float64)
        self._levers = levers(self._at_px, size)
        self._spline = _splined(shown)
        self._as_it_was = self._operators(np.zeros(centres_px.shape))
        self._last: tuple[Floats, _Operators] | None = None

    @staticmethod
    def chosen(picture: Grey, dry: Mask, noise_grey: float) -> Marks:
        """Windows where `dry` (h, w) allows it, as the `picture` shows them; `noise_grey` is that of one picture."""
        noise = max(noise_grey, 1.0)
        centres = _chosen(picture, dry, (noise / _WORST_READING_PX) ** 2)
        centres = centres[np.argsort(centres[:, 1], kind="stable")]
        size = (picture.shape[0], picture.shape[1])
        return Marks(centres, _levels(picture, centres, _WITH_MARGIN), size, noise)

    def averaged(self, pictures: Sequence[Grey]) -> Marks:
        """The same windows as they usually look in `pictures` of a camera at rest."""
        shown = np.stack([_levels(picture, self.centres_px, _WITH_MARGIN) for picture in pictures])
        middle = np.median(shown, axis=0) if len(shown) > 2 else shown.mean(axis=0)
        return Marks(self.centres_px, np.asarray(middle, np.float32), self._size, self._noise)

    def rows_px(self, count: int, along: float) -> int:
        """So many upper rows hold `count` readings, or more, along the columns and along the rows; all if none do.

        Args:
            count: how many are enough.
            along: how much of a reading's direction must lie along columns, or rows, to be one.
        """
        ready = self._as_it_was
        tells = np.cumsum(np.abs(ready.direction) > along, axis=0)
        enough = np.flatnonzero((tells >= count).all(axis=1))
        if not len(enough):
            return self._size[0]
        return min(ready.lowest_row[int(ready.window[enough[0]]) + 1] + HALF_PX + REACH_PX, self._size[0])

    def only(self, kept: NDArray[np.bool_]) -> Marks:
        """The windows (W,) that are `kept`."""
        return Marks(self.centres_px[kept], self._shown[kept], self._size, self._noise)

    def read(self, picture: NDArray[np.uint8], expected_px: Floats | None = None) -> Readings:
        """Readings of the windows that lie in the picture's rows.

        Args:
            picture: (h, w) or (h, w, 3); upper rows only will do.
            expected_px: (W, 2) by how much each window is expected to have moved; None: not at all.
        """
        ready = self._as_it_was if expected_px is None else self._moved(expected_px)
        off, gain, clear = self._compared(picture, ready)
        told = int(np.searchsorted(ready.window, len(off)))
        window = ready.window[:told]
        return Readings(
            window, self._at_px[window], ready.direction[:told], ready.lever[:told],
            off[window, ready.which[:told]].astype(np.float64),
            ready.u_px[:told] / np.clip(gain[window], _GAIN_LEAST, 1.0), clear[window],
        )  # fmt: skip

    def glimpse(
        self, picture: NDArray[np.uint8], expected_px: Floats | None = None
    ) -> tuple[Singles, NDArray[np.bool_]]:
        """Only the offsets of the same readings, and which are clear: for a first look."""
        ready = self._as_it_was if expected_px is None else self._moved(expected_px)
        off, _, clear = self._compared(picture, ready)
        window = ready.window[: ready.window.searchsorted(len(off))]
        return off.take(ready.place[: len(window)]), clear.take(window)

    def clear(self, picture: NDArray[np.uint8], expected_px: Floats | None = None) -> NDArray[np.bool_]:
        """(W,) whether each window shows what it should in a whole picture."""
        return self._compared(picture, self._as_it_was if expected_px is None else self._moved(expected_px))[2]

    def _compared(self, picture: NDArray[np.uint8], ready: _Operators) -> tuple[Singles, Singles, NDArray[np.bool_]]:
        """Of the upper windows that are in the picture: offsets (W, 2), gains (W,), and which show what they should."""
        height = picture.shape[0]
        count = bisect_left(self._row_px, height - HALF_PX)
        is_inside = ready.lowest_row[count] < height - HALF_PX
        if is_inside:
            taken = picture.reshape(-1, *picture.shape[2:]).take(ready.index[:count], axis=0)
            levels = taken.astype(np.float32) if picture.ndim == 2 else taken @ _LUMA
        else:
            levels = _levels(picture, ready.places[:count], _SIDE).reshape(count, -1)
        sums = np.matmul(ready.rows[:count], levels[:, :, None])[:, :, 0]
        like, mean, size = sums[:, 2], sums[:, 3], ready.size[:count]
        square = np.einsum("wk,wk->w", levels, levels) - mean * mean
        gain = like / size
        clear = (like * like > _ALIKE**2 * square) & (gain > _GAIN_LEAST) & (gain < _GAIN_MOST)
        if not is_inside:
            clear &= (ready.places[:count, 1] < height - HALF_PX) & ready.fits[:count]
        return sums[:, :2] / np.maximum(like, _GAIN_LEAST * size)[:, None], gain, clear

    def search(self, picture: NDArray[np.uint8]) -> Readings:
        """Rough readings of windows that may have moved by up to REACH_PX: where most of them are found together."""
        places = self.centres_px
        inside = (places[:, 1] + HALF_PX + REACH_PX < picture.shape[0]) | (picture.shape[0] == self._size[0])
        wide = _levels(picture, places, _WIDE)
        own = np.ascontiguousarray(self._shown[:, _MARGIN_PX:-_MARGIN_PX, _MARGIN_PX:-_MARGIN_PX])
        likeness = np.stack(
            [
                np.asarray(cv2.matchTemplate(there, here, cv2.TM_CCOEFF_NORMED), np.float32)
                for there, here in zip(wide, own, strict=True)
            ]
        )
        together = np.maximum(likeness[inside], 0).sum(0) if inside.any() else np.zeros(likeness.shape[1:])
        row, column = np.unravel_index(int(together.argmax()), together.shape)
        return self._near(likeness, inside, int(column), int(row))

    def _near(self, likeness: Singles, inside: NDArray[np.bool_], column: int, row: int) -> Readings:
        """Each window's best place within 4 px of the common one, along the directions that it can tell."""
        top, left = max(row - 4, 0), max(column - 4, 0)
        near = likeness[:, top : row + 5, left : column + 5]
        best = near.reshape(len(near), -1).argmax(1)
        rows, columns = np.unravel_index(best, near.shape[1:])
        moved = np.column_stack([columns + left, rows + top]).astype(np.float64) - REACH_PX
        clear = inside & (near.reshape(len(near), -1).max(1) > _ALIKE)
        ready = self._as_it_was
        told = inside[ready.window]
        window, direction = ready.window[told], ready.direction[told]
        return Readings(
            window, self._at_px[window], direction, ready.lever[told], (moved[window] * direction).sum(1),
            np.full(len(window), 0.3), clear[window],
        )  # fmt: skip

    def _moved(self, expected_px: Floats) -> _Operators:
        if self._last is None or not np.array_equal(self._last[0], expected_px):
            self._last = (expected_px, self._operators(expected_px))
        return self._last[1]

    def _operators(self, moved_px: Floats) -> _Operators:
        """The windows as they look when they have moved by `moved_px` (W, 2)."""
        places = self.centres_px + np.round(moved_px).astype(np.int64)
        part = moved_px - np.round(moved_px)
        count, (height, width) = len(moved_px), self._size
        (at_u, by_u), (at_v, by_v) = _taps(part[:, 0]), _taps(part[:, 1])
        by_columns = self._spline @ np.swapaxes(np.concatenate([at_u, by_u], axis=1), 1, 2)
        levels, across, down = (
            np.reshape(shown, (count, len(_SIDE) ** 2))
            for shown in (
                at_v @ by_columns[..., : len(_SIDE)], at_v @ by_columns[..., len(_SIDE) :],
                by_v @ by_columns[..., : len(_SIDE)],
            )
        )  # fmt: skip
        levels = levels - levels.mean(1, keepdims=True)
        slopes = _freed(np.stack([across, down], axis=1), levels)
        steep, axes = np.linalg.eigh((slopes @ np.swapaxes(slopes, 1, 2)).astype(np.float64))
        steep = np.maximum(steep, 1e-6)
        u_px = self._noise / np.sqrt(steep)
        operators = np.swapaxes(axes / steep[:, None, :], 1, 2) @ slopes
        size = np.sqrt(np.maximum((levels**2).sum(1), 1e-3))[:, None]
        root = np.full_like(levels, 1 / len(_SIDE))
        rows = np.concatenate([-operators * size[:, None], np.stack([levels / size, root], axis=1)], axis=1)
        window, which = np.nonzero(u_px < _WORST_READING_PX)
        fits = np.all((places >= HALF_PX) & (places < (width - HALF_PX, height - HALF_PX)), axis=1)
        index = (places[:, 1, None, None] + _SIDE[:, None]) * width + places[:, 0, None, None] + _SIDE
        direction = np.swapaxes(axes, 1, 2)[window, which]
        lever = (direction[:, :, None] * self._levers[window]).sum(1)
        lowest = np.maximum.accumulate(np.where(fits, places[:, 1], height)).tolist()
        return _Operators(
            places, fits, [0, *lowest], index.reshape(count, len(_SIDE) ** 2), rows.astype(np.float32),
            size[:, 0], window, which, 2 * window + which,
            direction, lever, np.maximum(u_px[window, which], _U_LEAST_PX),
        )  # fmt: skip


def _freed(slopes: Singles, levels: Singles) -> Singles:
    """Slopes (W, 2, K) without what a change of light does: a factor and a sum, even or rising across the window."""
    contrast = np.sqrt((levels**2).mean(1) + 1e-6)
    lit = (levels / contrast[:, None])[:, None] * _RAMPS
    changes = np.concatenate([np.broadcast_to(_RAMPS, lit.shape), lit], axis=1)
    turned = np.swapaxes(changes, 1, 2)
    square = (changes @ turned).astype(np.float64) + 1e-6 * len(_RAMPS[0]) * np.eye(2 * len(_RAMPS))
    shares = np.linalg.solve(square, (changes @ np.swapaxes(slopes, 1, 2)).astype(np.float64))
    freed: Singles = np.asarray(slopes - np.swapaxes(shares, 1, 2).astype(np.float32) @ changes, np.float32)
    return freed


def _levels(picture: NDArray[np.uint8], places: Whole, side: Whole) -> Singles:
    """(W, K, K) levels around `places` (W, 2), grey; beyond the picture its edge."""
    height, width = picture.shape[:2]
    columns = np.clip(places[:, 0, None] + side, 0, width - 1)
    rows = np.clip(places[:, 1, None] + side, 0, height - 1)
    taken = picture[rows[:, :, None], columns[:, None, :]]
    return np.asarray(taken.astype(np.float32) if taken.ndim == 3 else taken @ _LUMA, np.float32)


def _splined(levels: Singles) -> Singles:
    """(W, S, S) coefficients of cubic splines through the levels."""
    if not len(levels):
        return levels
    return np.asarray(spline_filter1d(spline_filter1d(levels, axis=1), axis=2), np.float32)


def _taps(part_px: Floats) -> tuple[Singles, Singles]:
    """What makes a window's values, and slopes, `part_px` (W,) before each whole place of a spline's coefficients."""
    x = -part_px[:, None] - _TAPS
    far = np.abs(x)
    value = np.where(far < 1, 2 / 3 - far**2 + far**3 / 2, np.maximum(2 - far, 0) ** 3 / 6)
    slope = np.where(far < 1, -2 * x + 1.5 * x * far, -np.sign(x) * np.maximum(2 - far, 0) ** 2 / 2)
    return _banded(value), _banded(slope)


def _banded(weights: Floats) -> Singles:
    """(W, K, S) what makes K values of S coefficients, each of five neighbours by the same `weights` (W, 5)."""
    band = np.zeros((len(weights), len(_SIDE), len(_WITH_MARGIN)), np.float32)
    value, tap = np.divmod(np.arange(len(_SIDE) * len(_TAPS)), len(_TAPS))
    band[:, value, _MARGIN_PX + int(_TAPS[0]) + value + tap] = weights[:, tap]
    return band


def _chosen(picture: Grey, dry: Mask, least: float) -> Whole:
    """(W, 2) middles of the windows that together tell most: columns, rows.

    One after the other is taken that adds most to what is known of shift, turn and stretch of the whole picture, first
    from the upper half (whose rows are always decoded), then from all of it.
    """
    height, width = dry.shape
    across, down = cv2.Scharr(picture, cv2.CV_32F, 1, 0) / 32, cv2.Scharr(picture, cv2.CV_32F, 0, 1) / 32
    whole = cv2.erode(dry.astype(np.uint8), np.ones((2 * HALF_PX + 1,) * 2, np.uint8), borderValue=0) > 0
    margin = HALF_PX + 1
    whole[:margin], whole[-margin:], whole[:, :margin], whole[:, -margin:] = False, False, False, False
    sums = [cv2.boxFilter(p, -1, (2 * HALF_PX + 1,) * 2, normalize=False) for p in (across**2, across * down, down**2)]
    candidates = []
    for score in (np.where(whole, sums[0], 0), np.where(whole, sums[2], 0)):
        for top in range(0, height, _CELL_PX):
            for left in range(0, width, _CELL_PX):
                _, most, _, (u, v) = cv2.minMaxLoc(score[top : top + _CELL_PX, left : left + _CELL_PX])
                if most > least:
                    candidates.append((left + u, top + v))
    places = np.array(sorted(set(candidates)), np.int64).reshape(-1, 2)
    told = [
        np.array([[sums[0][v, u], sums[1][v, u]], [sums[1][v, u], sums[2][v, u]]], np.float64) / least
        for u, v in places
    ]
    return _telling(places, told, (height, width))


def _telling(places: Whole, told: list[Floats], size: tuple[int, int]) -> Whole:
    height, width = size
    if not len(places):
        return places
    x, y = (places[:, 0] - width / 2) / (width / 2), (places[:, 1] - height / 2) / (width / 2)
    one, zero = np.ones_like(x), np.zeros_like(x)
    lever = np.stack([np.stack([one, zero, x, y, zero, zero]), np.stack([zero, one, zero, zero, x, y])])
    # no window counts for more than reading between pixels allows
    steep, axes = np.linalg.eigh(np.array(told))
    allowed_most = np.minimum(steep, (_WORST_READING_PX / _U_LEAST_PX) ** 2) * (steep > 1)
    gains = np.einsum("iaw,wik,wk,wjk,jbw->wab", lever, axes, allowed_most, axes, lever, optimize=True)
    known, taken = np.eye(6) * 1e-2, list[int]()
    free = np.ones(len(places), bool)
    while len(taken) < _MOST_COUNT and free.any():
        allowed = free & (places[:, 1] < height / 2) if len(taken) < _MOST_COUNT // 2 else free
        allowed = allowed if allowed.any() else free
        after = np.linalg.slogdet(known + gains[allowed])[1]
        best = int(np.flatnonzero(allowed)[after.argmax()])
        known, taken = known + gains[best], [*taken, best]
        free &= np.abs(places - places[best]).max(1) >= HALF_PX
    return places[taken]
