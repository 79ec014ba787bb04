"""Where the white paper of a tag hides the hull in pictures in which the tag was found.

Paper lies above the deck, on a plate or not, so it moves against the deck's edge from picture to picture, and near an
edge it would be taken for deck, or for water. What it hides is not known, and the edge is learnt from the rest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Grey
from logger.vision.plane import Plane

Floats = NDArray[np.float64]

_PAINTED = 1.12
"""So much larger than the paper is what is painted over."""
_BESIDE_PX, _BESIDE_MM = 1.5, 1.0
"""So far beside the paper, and the plate below it, blur and a height that is a little wrong may show it."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The tag in N pictures."""

    pictures: Mapping[int, Grey]
    place_mm: Mapping[int, Floats]
    heading_rad: Mapping[int, float]
    paper_mm: float
    """Half the side, or the radius, of the white paper."""
    is_round: bool


class Papers:
    """Tells which pixels show the tag's paper, or the plate that it lies on, in N pictures."""

    def __init__(self, seen: Seen, numbers: Sequence[int], tag_plane: Plane, deck: Plane) -> None:
        self._masks = [self._mask(seen, n, tag_plane, deck) for n in numbers]

    @staticmethod
    def _mask(seen: Seen, number: int, tag_plane: Plane, deck: Plane) -> tuple[int, int, NDArray[np.bool_]]:
        """Column and row of the upper left of a window, and the window; its border shows none."""
        reach = seen.paper_mm + _BESIDE_MM + _BESIDE_PX * deck.step_mm(deck.foot_mm)
        ring = seen.place_mm[number] + _rim(seen, seen.heading_rad[number]) * reach
        below = tag_plane.lowered(ring, deck.z_mm)
        around = np.vstack([tag_plane.pixels(ring), deck.pixels(below)])
        if not np.isfinite(around).all():
            return 0, 0, np.zeros((3, 3), bool)
        left, top = np.floor(around.min(axis=0)).astype(int) - 2
        right, bottom = np.ceil(around.max(axis=0)).astype(int) + 3
        mask = np.zeros((bottom - top, right - left), np.uint8)
        polygon = cv2.convexHull((around - (left, top)).astype(np.float32))[:, 0]
        cv2.fillConvexPoly(mask, np.round(polygon * 16).astype(np.int32), 1, shift=4)
        mask[[0, -1]] = mask[:, [0, -1]] = 0
        return int(left), int(top), mask > 0

    def __call__(self, columns_px: Floats, rows_px: Floats) -> NDArray[np.bool_]:
        """(N, M, K) of pixels (N, M, K)."""
        shown = np.zeros(columns_px.shape, bool)
        for n, (left, top, mask) in enumerate(self._masks):
            column = np.clip(np.round(columns_px[n]).astype(int) - left, 0, mask.shape[1] - 1)
            row = np.clip(np.round(rows_px[n]).astype(int) - top, 0, mask.shape[0] - 1)
            shown[n] = mask[row, column]
        return shown


def _rim(seen: Seen, heading_rad: float) -> Floats:
    """(K, 2) around the middle of the paper, its reach being 1."""
    if seen.is_round:
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        return np.column_stack([np.cos(turn), np.sin(turn)])
    turn = np.pi / 4 + np.arange(4) * np.pi / 2 + heading_rad
    corners: Floats = np.sqrt(2) * np.column_stack([np.cos(turn), np.sin(turn)])
    return corners


def painted(seen: Seen, number: int, plane: Plane) -> Grey:
    """The picture with the paper in the grey that is around it."""
    picture = seen.pictures[number].copy()
    place, heading = seen.place_mm[number], seen.heading_rad[number]
    ring = _rim(seen, heading) * seen.paper_mm
    inner, outer = (np.round(plane.pixels(place + ring * k)).astype(np.int32) for k in (_PAINTED, _PAINTED + 0.18))
    left, top = np.maximum(outer.min(axis=0), 0)
    right, bottom = np.minimum(outer.max(axis=0) + 1, picture.shape[::-1])
    if right <= left or bottom <= top:
        return picture
    window = picture[top:bottom, left:right]
    masks = []
    for polygon in (inner, outer):
        mask = np.zeros(window.shape, np.uint8)
        cv2.fillConvexPoly(mask, polygon - (left, top), 1)
        masks.append(mask > 0)
    around = window[masks[1] & ~masks[0]]
    if around.size:
        window[masks[0]] = np.uint8(np.median(around))
    return picture
