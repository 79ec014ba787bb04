"""The empty tank, worked out from pictures in which a boat is always somewhere."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.plane import Singles

Grey = NDArray[np.uint8]
Mask = NDArray[np.bool_]
T = TypeVar("T", Grey, Singles)

_EARLY_SHARE = 0.3
_DIFFERENT_GREY = 6.0
_FOREIGN_NOISES, _FOREIGN_GREY = 5.0, 12.0
"""By how much a thing in the start zone differs from the empty tank: in noises, and at least."""


def first_guess(stack: Grey, start_zone: Mask | None = None) -> Singles:
    """The empty picture (h, w) from small pictures (N, h, w) in order of time.

    The median over time loses a boat that keeps moving. A boat at rest for most of the run *is* the median; what is
    known of every run helps: it begins in the start zone and leaves it. So outside that zone the early pictures show
    water wherever they disagree with the median, and inside it the late ones do.

    Args:
        stack: N pictures.
        start_zone: where the boat stands at the beginning; None if nothing is known (then it is the plain median).
    """
    usual = median(stack)
    if start_zone is None or len(stack) < 6:
        return usual
    share = max(3, round(_EARLY_SHARE * len(stack)))
    early, late = median(stack[:share]), median(stack[-share:])
    other: Singles = np.asarray(np.where(start_zone, late, early), np.float32)
    return np.asarray(np.where(np.abs(other - usual) > _DIFFERENT_GREY, other, usual), np.float32)


def median(stack: Sequence[Grey] | Sequence[Singles] | Grey) -> Singles:
    """Median over the first axis of (N, ...)."""
    rows = sorted_rows(list(stack))
    below, above = rows[(len(rows) - 1) // 2], rows[len(rows) // 2]
    return np.asarray((below.astype(np.float32) + above) / 2, np.float32)


def sorted_rows(rows: Sequence[T]) -> list[T]:
    """N pictures, each pixel's N values in rising order.

    By a network of comparisons (merge exchange after Batcher: Knuth, The Art of Computer Programming 3, 5.2.2, M).
    Comparing whole pictures takes a tenth of the time of sorting each pixel's row.
    """
    ordered = list(rows)
    for low, high in _exchanges(len(ordered)):
        one, other = ordered[low], ordered[high]
        ordered[low], ordered[high] = np.minimum(one, other), np.maximum(one, other)
    return ordered


def _exchanges(count: int) -> Iterator[tuple[int, int]]:
    """The pairs that are put in order, one after the other, to sort `count` things."""
    longest = 1 << max(count - 1, 0).bit_length() >> 1
    p = longest
    while p:
        q, r, d = longest, 0, p
        while d:
            yield from ((i, i + d) for i in range(count - d) if i & p == r)
            d, q, r = (q - p if q != p else 0), q >> 1, p
        p >>= 1


def light_of(picture: Grey | Singles, empty: Singles) -> float:
    """How much brighter the picture is than the empty one: median ratio over every third pixel each way."""
    part, base = picture[::3, ::3].astype(np.float32), empty[::3, ::3]
    known = np.isfinite(base) & (base > 8) & (part < 250)
    if not known.any():
        return 1.0
    return max(float(np.median(part[known] / base[known])), 1e-3)


def away_from_boat(
    pictures: Sequence[Grey],
    lights: Sequence[float],
    discs_px: Sequence[tuple[float, float, float]],
    foreign: Sequence[Mask] | None = None,
) -> Singles:
    """The full-size empty picture: the mean of the pictures, each without the disc (u, v, radius) that holds its boat.

    NaN where every picture has its boat.

    Args:
        pictures: of one size.
        lights: how much brighter each is than the empty one.
        discs_px: where the boat is.
        foreign: small masks, reduced by a whole factor, of what else is not of the empty tank; if any.
    """
    total = np.zeros(pictures[0].shape, np.float32)
    count = np.full(pictures[0].shape, len(pictures), np.float32)
    room = np.empty_like(total)
    for k, (picture, light, (u, v, radius)) in enumerate(zip(pictures, lights, discs_px, strict=True)):
        is_even = abs(light - 1) < 0.003
        even = picture if is_even else np.divide(picture, np.float32(light), out=room, dtype=np.float32)
        cv2.accumulate(even, total)
        window, disc = _disc(picture.shape, u=u, v=v, radius=radius)
        total[window] -= even[window] * disc
        count[window] -= disc
        if foreign is not None and foreign[k].any():
            window, mask = _enlarged(foreign[k], picture.shape)
            rows, columns = np.ogrid[window]
            mask[(columns - round(u)) ** 2 + (rows - round(v)) ** 2 <= round(radius) ** 2] = 0
            total[window] -= even[window] * mask
            count[window] -= mask
    known = count > 0.5
    np.divide(total, np.maximum(count, 1, out=count), out=total)
    total[~known] = np.nan
    return total


def foreign(small: Grey, empty: Singles, start_zone: Mask, *, noise: float) -> Mask:
    """Where in a reduced picture of the start zone a hand, or a boat not known of, lies over the empty tank.

    A boat waits there for long, held by a hand, and then goes: late pictures know the zone without them.
    """
    apart = cv2.absdiff(small.astype(np.float32) / np.float32(light_of(small, empty)), empty)
    over = (apart > max(_FOREIGN_NOISES * noise, _FOREIGN_GREY)) & start_zone
    grown = cv2.dilate(over.astype(np.uint8), np.ones((5, 5), np.uint8))
    return np.asarray(grown > 0, np.bool_)


def _enlarged(small: Mask, shape: tuple[int, ...]) -> tuple[tuple[slice, slice], Singles]:
    """The window of a full-size picture that holds what a small mask shows, and the mask in it: 1 where it is."""
    by = shape[0] // small.shape[0]
    rows, columns = np.flatnonzero(small.any(axis=1)), np.flatnonzero(small.any(axis=0))
    part = small[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1].astype(np.float32)
    mask = cv2.resize(part, None, fx=by, fy=by, interpolation=cv2.INTER_NEAREST)
    top, left = by * int(rows[0]), by * int(columns[0])
    return (slice(top, top + mask.shape[0]), slice(left, left + mask.shape[1])), np.asarray(mask, np.float32)


def _disc(shape: tuple[int, ...], *, u: float, v: float, radius: float) -> tuple[tuple[slice, slice], Singles]:
    """The window of a picture that holds a disc, and the disc in it: 1 inside, 0 outside."""
    u, v, radius = round(u), round(v), round(radius)
    left, top = max(u - radius, 0), max(v - radius, 0)
    window = slice(top, min(max(v + radius + 1, top), shape[0])), slice(left, min(max(u + radius + 1, left), shape[1]))
    rows, columns = np.ogrid[window]
    return window, np.asarray((columns - u) ** 2 + (rows - v) ** 2 <= radius**2, np.float32)
