"""The empty tank, worked out from pictures in which a boat is always somewhere."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.plane import Singles

Grey = NDArray[np.uint8]
Mask = NDArray[np.bool_]

_EARLY_SHARE = 0.3
_DIFFERENT_GREY = 6.0


def first_guess(stack: Grey, start_zone: Mask | None = None) -> Singles:
    """The empty picture (h, w) from small pictures (N, h, w) in order of time.

    The median over time loses a boat that keeps moving. A boat at rest for most of the run *is* the median; what is
    known of every run helps: it begins in the start zone and leaves it. So outside that zone the early pictures show
    water wherever they disagree with the median, and inside it the late ones do.

    Args:
        stack: N pictures.
        start_zone: where the boat stands at the beginning; None if nothing is known (then it is the plain median).
    """
    usual: Singles = np.asarray(np.median(stack, axis=0), np.float32)
    if start_zone is None or len(stack) < 6:
        return usual
    share = max(3, round(_EARLY_SHARE * len(stack)))
    early, late = np.median(stack[:share], axis=0), np.median(stack[-share:], axis=0)
    other: Singles = np.asarray(np.where(start_zone, late, early), np.float32)
    return np.asarray(np.where(np.abs(other - usual) > _DIFFERENT_GREY, other, usual), np.float32)


def light_of(picture: Grey | Singles, empty: Singles) -> float:
    """How much brighter the picture is than the empty one: median ratio over every third pixel each way."""
    part, base = picture[::3, ::3].astype(np.float32), empty[::3, ::3]
    known = np.isfinite(base) & (base > 8) & (part < 250)
    if not known.any():
        return 1.0
    return max(float(np.median(part[known] / base[known])), 1e-3)


def away_from_boat(
    pictures: Sequence[Grey], lights: Sequence[float], discs_px: Sequence[tuple[float, float, float]]
) -> Singles:
    """The full-size empty picture: the mean of the pictures, each without the disc (u, v, radius) that holds its boat.

    NaN where every picture has its boat.
    """
    total = np.zeros(pictures[0].shape, np.float32)
    count = np.zeros(pictures[0].shape, np.float32)
    for picture, light, (u, v, radius) in zip(pictures, lights, discs_px, strict=True):
        water = np.full(picture.shape, 255, np.uint8)
        cv2.circle(water, (round(u), round(v)), round(radius), 0, -1)
        even = abs(light - 1) < 0.003
        cv2.accumulate(picture if even else (picture / np.float32(light)).astype(np.float32), total, water)
        count += water > 0
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0, total / count, np.nan), np.float32)
