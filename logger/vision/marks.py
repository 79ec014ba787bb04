"""Marks to tell by whether the camera moved: small windows on edges and corners of what stands still about the water.

Each window says by how much what it shows has moved, along the one or two directions in which its edges tell it: one
Lucas-Kanade step (1981) from where it is expected; of 0.3 px one step reads four fifths, so the next begins where the
last one ended. A change of light or contrast within a window does not count: the
slopes are freed from the mean and from the levels themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Mask
from logger.vision.plane import Singles

Floats = NDArray[np.float64]
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
_ENOUGH_COUNT = 6
_ALIKE = 0.8
"""Likeness (correlation) below which something else stands before a window."""
_LUMA = np.array([0.114, 0.587, 0.299], np.float32)
"""Weights of blue, green and red in a grey picture (ITU-R BT.601)."""
_SIDE = np.arange(-HALF_PX, HALF_PX + 1)
_WIDE = np.arange(-HALF_PX - REACH_PX, HALF_PX + REACH_PX + 1)


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """M readings of one picture."""

    at_px: Floats
    """(M, 2) the middles of their windows where the camera has not moved."""
    direction: Floats
    """(M, 2) unit vectors, columns and rows."""
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
    is_inside: bool
    """Whether all are."""
    index: Whole
    """(W, K) their pixels in the picture laid out row by row."""
    rows: Singles
    """(W, 4, K): two readings' operators and the levels, all free of the mean; and what makes the mean."""
    size: Singles
    """(W,) root of the sum of the levels' squares."""
    direction: Floats
    """(W, 2, 2) by reading."""
    u_px: Floats
    """(W, 2) infinite for a direction in which nothing is told."""
    kinds: tuple[NDArray[np.bool_], ...]
    """(W, 2) each: readings that tell of rows, and of columns."""


class Marks:
    """Windows of a still picture, made ready for comparing."""

    def __init__(self, reference: Singles, dry: Mask, noise_grey: float) -> None:
        """Choose windows where `dry` (h, w) allows it; `noise_grey` is that of a single picture."""
        self._noise = max(noise_grey, 1.0)
        self._shape = reference.shape
        self._reference = reference
        self._across = np.asarray(cv2.Scharr(reference, cv2.CV_32F, 1, 0) / 32, np.float32)
        self._down = np.asarray(cv2.Scharr(reference, cv2.CV_32F, 0, 1) / 32, np.float32)
        chosen = _chosen(self._across, self._down, dry, (self._noise / _WORST_READING_PX) ** 2)
        self.centres_px = chosen[np.argsort(chosen[:, 1], kind="stable")]
        """(W, 2) middles, columns and rows, the uppermost first."""
        self._as_it_was = self._operators(np.zeros(self.centres_px.shape))
        self._last: tuple[Floats, _Operators] | None = None

    def without(self, bad: NDArray[np.bool_]) -> None:
        """Forget the windows (W,) that are `bad`."""
        self.centres_px = self.centres_px[~bad]
        self._as_it_was, self._last = self._operators(np.zeros(self.centres_px.shape)), None

    def read(self, picture: NDArray[np.uint8], expected_px: Floats | None = None) -> Readings:
        """Readings of the windows that lie in the picture's rows.

        Args:
            picture: (h, w) or (h, w, 3); upper rows only will do.
            expected_px: (W, 2) by how much each window is expected to have moved; None: not at all.
        """
        ready = self._as_it_was if expected_px is None else self._moved(expected_px)
        off, gain, clear = self._compared(picture, ready)
        told = np.isfinite(ready.u_px[: len(off)])
        window, which = np.nonzero(told)
        return Readings(
            self.centres_px[window].astype(np.float64), ready.direction[window, which],
            off[window, which].astype(np.float64),
            ready.u_px[window, which] / np.clip(gain[window], 0.2, 1.0), clear[window],
        )  # fmt: skip

    def rest(self, picture: NDArray[np.uint8], within_px: float) -> bool:
        """Whether most windows surely stand where they stood: a quick look, which may say no though they do."""
        ready = self._as_it_was
        off, _, clear = self._compared(picture, ready)
        count = np.count_nonzero(clear)
        if count < 0.7 * len(clear) or count < _ENOUGH_COUNT:
            return False
        apart = np.abs(off)
        for kind in ready.kinds:
            seen = apart[: len(clear)][kind[: len(clear)] & clear[:, None]]
            if len(seen) < 4 or np.partition(seen, len(seen) // 2)[len(seen) // 2] > within_px:
                return False
        return True

    def _compared(self, picture: NDArray[np.uint8], ready: _Operators) -> tuple[Singles, Singles, NDArray[np.bool_]]:
        """Of the upper windows that are in the picture: offsets (W, 2), gains (W,), and which show what they should."""
        places, height = ready.places, picture.shape[0]
        count = int(np.searchsorted(self.centres_px[:, 1], height - HALF_PX))
        if ready.is_inside and (not count or places[:count, 1].max() < height - HALF_PX):
            taken = picture.reshape(-1, *picture.shape[2:]).take(ready.index[:count], axis=0)
            levels = taken.astype(np.float32) if picture.ndim == 2 else taken @ _LUMA
        else:
            levels = self._levels(picture, places[:count], _SIDE)
        inside = (places[:count, 1] < height - HALF_PX) & ready.fits[:count]
        sums = np.matmul(ready.rows[:count], levels[:, :, None])[:, :, 0]
        square = np.einsum("wk,wk->w", levels, levels) - sums[:, 3] ** 2
        size = ready.size[:count]
        gain = sums[:, 2] / size**2
        clear = (gain * size > _ALIKE * np.sqrt(np.maximum(square, 1e-3))) & (gain > 0.2) & (gain < 4) & inside
        return sums[:, :2] / -np.maximum(gain, 0.2)[:, None], gain, clear

    def search(self, picture: NDArray[np.uint8]) -> Readings:
        """Rough readings of windows that may have moved by up to REACH_PX: where most of them are found together."""
        places = self.centres_px
        inside = (places[:, 1] + HALF_PX + REACH_PX < picture.shape[0]) | (picture.shape[0] == self._shape[0])
        wide = self._levels(picture, places, _WIDE).reshape(-1, len(_WIDE), len(_WIDE))
        own = self._reference[(places[:, None, None, 1] + _SIDE[:, None]), (places[:, None, None, 0] + _SIDE)]
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
        window, which = np.nonzero(np.isfinite(ready.u_px) & inside[:, None])
        direction = ready.direction[window, which]
        return Readings(
            self.centres_px[window].astype(np.float64), direction, (moved[window] * direction).sum(1),
            np.full(len(window), 0.3), clear[window],
        )  # fmt: skip

    def _levels(self, picture: NDArray[np.uint8], places: Whole, side: Whole) -> Singles:
        """(W, K) levels around `places` (W, 2); beyond the picture its edge."""
        height, width = picture.shape[:2]
        columns = np.clip(places[:, 0, None] + side, 0, width - 1)
        rows = np.clip(places[:, 1, None] + side, 0, height - 1)
        taken = picture[rows[:, :, None], columns[:, None, :]]
        levels = taken.astype(np.float32) if taken.ndim == 3 else taken @ _LUMA
        return np.asarray(levels, np.float32).reshape(len(places), len(side) ** 2)

    def _moved(self, expected_px: Floats) -> _Operators:
        if self._last is None or not np.array_equal(self._last[0], expected_px):
            self._last = (expected_px, self._operators(expected_px))
        return self._last[1]

    def _operators(self, moved_px: Floats) -> _Operators:
        """The windows as they look when they have moved by `moved_px` (W, 2)."""
        places = self.centres_px + np.round(moved_px).astype(np.int64)
        part = moved_px - np.round(moved_px)
        u = (self.centres_px[:, 0] - part[:, 0])[:, None, None] + _SIDE + np.zeros((len(_SIDE), 1))
        v = (self.centres_px[:, 1] - part[:, 1])[:, None, None] + _SIDE[:, None] + np.zeros(len(_SIDE))
        count, (height, width) = len(moved_px), self._shape
        levels, across, down = (
            _between(picture, u.reshape(-1, len(_SIDE)), v.reshape(-1, len(_SIDE))).reshape(count, len(_SIDE) ** 2)
            for picture in (self._reference, self._across, self._down)
        )
        levels = levels - levels.mean(1, keepdims=True)
        slopes = _freed(np.stack([across, down], axis=-1), levels)
        steep, axes = np.linalg.eigh(np.einsum("wki,wkj->wij", slopes, slopes).astype(np.float64))
        steep = np.maximum(steep, 1e-6)
        u_px = self._noise / np.sqrt(steep)
        u_px = np.where(u_px < _WORST_READING_PX, np.maximum(u_px, _U_LEAST_PX), np.inf)
        operators = np.swapaxes(np.einsum("wki,wij->wkj", slopes, axes) / steep[:, None, :], 1, 2)
        rows = np.concatenate([operators, levels[:, None], np.full_like(levels[:, None], 1 / len(_SIDE))], axis=1)
        direction = np.swapaxes(axes, 1, 2)
        upright = np.abs(direction[:, :, 1]) > np.abs(direction[:, :, 0])
        fits = np.all((places >= HALF_PX) & (places < (width - HALF_PX, height - HALF_PX)), axis=1)
        index = (places[:, 1, None, None] + _SIDE[:, None]) * width + places[:, 0, None, None] + _SIDE
        return _Operators(
            places, fits, bool(fits.all()), index.reshape(count, len(_SIDE) ** 2), rows.astype(np.float32),
            np.sqrt(np.maximum((levels**2).sum(1), 1e-3)), direction, u_px,
            (np.isfinite(u_px) & upright, np.isfinite(u_px) & ~upright),
        )  # fmt: skip


def _freed(slopes: Singles, levels: Singles) -> Singles:
    """Slopes (W, K, 2) without what a change of light does: a factor and a sum, even or rising across the window."""
    across, down = np.meshgrid(_SIDE / HALF_PX, _SIDE / HALF_PX)
    ramps = np.stack([np.ones(across.size), across.ravel(), down.ravel()], axis=-1)
    changes = np.concatenate([np.broadcast_to(ramps, (len(levels), *ramps.shape)), levels[:, :, None] * ramps], axis=2)
    q, _ = np.linalg.qr(changes)
    return np.asarray(slopes - q @ (np.swapaxes(q, 1, 2) @ slopes), np.float32)


def _between(picture: Singles, u: Floats, v: Floats) -> Singles:
    if not len(u):
        return np.zeros(u.shape, np.float32)
    seen = cv2.remap(
        picture, u.astype(np.float32), v.astype(np.float32), cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(seen, np.float32)


def _chosen(across: Singles, down: Singles, dry: Mask, least: float) -> Whole:
    """(W, 2) middles of the windows that together tell most: columns, rows.

    One after the other is taken that adds most to what is known of shift, turn and stretch of the whole picture, first
    from the upper half (whose rows are always decoded), then from all of it.
    """
    height, width = dry.shape
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
