"""What the print on a deck looks like to a camera: its ideal picture, blurred by lens and pixel, smeared by motion.

The picture is laid out in the tag's own frame (x to the bow, y to the left): how much ink a place shows, from 0 (paper)
to 1 (ink), with its slopes along both axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import tags
from logger.config import Tag
from logger.vision.plane import Singles

Floats = NDArray[np.float64]

_GRID_COUNT = 96
"""Points of the ideal picture along one side of the print."""
_FINE_COUNT = 4
"""Each point is the mean of so many each way."""
_USED_QUIET = 0.8
"""Share of the white border that is compared: beyond it blur brings in the deck."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """One print, ready to be compared."""

    ink: Singles
    """(n, n, 3) ink, its slope along x and along y (per mm); rows run along x, columns along y, from the least."""
    step_mm: float
    reach_mm: float
    """The middle of the first row and column lies this far behind and to the right of the tag's middle."""
    used_mm: float
    """Half the side, or the radius, of what is compared."""
    is_round: bool
    size_mm: float

    def at(self, x_mm: Singles, y_mm: Singles) -> Singles:
        """(h, w, 3) ink and its slopes at places (h, w) of the tag's frame."""
        columns, rows = (y_mm + self.reach_mm) / self.step_mm, (x_mm + self.reach_mm) / self.step_mm
        return np.asarray(
            cv2.remap(self.ink, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32
        )

    def at_all(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """(N, 3) the same at places (N,)."""
        found = self.at(x_mm[None].astype(np.float32), y_mm[None].astype(np.float32))[0]
        return np.asarray(found, np.float64)

    def covers(self, x_mm: Floats | Singles, y_mm: Floats | Singles) -> NDArray[np.bool_]:
        """(h, w) which places are compared."""
        if self.is_round:
            return np.asarray(np.hypot(x_mm, y_mm) < self.used_mm, np.bool_)
        return np.asarray((np.abs(x_mm) < self.used_mm) & (np.abs(y_mm) < self.used_mm), np.bool_)


class Print:
    """The print that a boat card tells of."""

    def __init__(self, tag: Tag) -> None:
        """Lay it out.

        Raises:
            CalibrationError: there is no square of that number.
        """
        self.tag, self.is_round = tag, tag.kind == "disc"
        size = tag.size_mm
        quiet = tags.DISC_QUIET_SHARE * size if self.is_round else tags.quiet_mm(size)
        self.used_mm, self.paper_mm = size / 2 + _USED_QUIET * quiet, size / 2 + quiet
        self._step = size / _GRID_COUNT
        self._count = 2 * int(np.ceil((size / 2 + 2 * quiet + size / 4) / self._step)) + 1
        self._sharp = self._ideal()

    def look(self, *, blur_mm: float, smear_mm: Floats | None = None, scale: float = 1.0) -> Look:
        """Its look through a Gaussian of that standard deviation, moving by `smear_mm` (2,), tag frame, as it is seen.

        `scale` makes the whole of it larger.
        """
        ink = self._sharp
        if smear_mm is not None and np.hypot(*smear_mm) > self._step:
            ink = np.asarray(cv2.filter2D(ink, -1, self._streak(smear_mm), borderType=cv2.BORDER_REPLICATE), np.float32)
        ink = np.asarray(cv2.GaussianBlur(ink, (0, 0), max(blur_mm, 0.01) / (self._step * scale)), np.float32)
        slopes = [
            np.asarray(
                cv2.filter2D(ink, -1, kernel / (self._step * scale), borderType=cv2.BORDER_REPLICATE), np.float32
            )
            for kernel in (np.array([[-0.5], [0.0], [0.5]]), np.array([[-0.5, 0.0, 0.5]]))
        ]
        step = self._step * scale
        reach = (self._count - 1) / 2 * step
        return Look(np.dstack([ink, *slopes]), step, reach, self.used_mm, self.is_round, self.tag.size_mm)

    def _ideal(self) -> Singles:
        """(n, n) share of ink around each point, with nothing blurred."""
        fine = self._count * _FINE_COUNT
        along = ((np.arange(fine) + 0.5) / _FINE_COUNT - 0.5 - (self._count - 1) / 2) * self._step
        x, y = np.meshgrid(along, along, indexing="ij")
        size = self.tag.size_mm
        if self.is_round:
            r = np.hypot(x, y)
            ink = (r < size / 2) & (r > tags.DISC_DOT_SHARE * size / 2)
        else:
            black = tags.cells(self.tag.number or 0)
            row = np.floor((size / 2 - x) / size * len(black)).astype(int)
            column = np.floor((size / 2 - y) / size * len(black)).astype(int)
            on = (row >= 0) & (row < len(black)) & (column >= 0) & (column < len(black))
            ink = on & black[np.clip(row, 0, len(black) - 1), np.clip(column, 0, len(black) - 1)]
        return np.asarray(
            cv2.resize(ink.astype(np.float32), (self._count, self._count), interpolation=cv2.INTER_AREA), np.float32
        )

    def _streak(self, smear_mm: Floats) -> Singles:
        """A kernel that spreads evenly over the way `smear_mm`."""
        count = int(np.ceil(2 * np.hypot(*smear_mm) / self._step)) + 1
        share = (np.arange(count) + 0.5) / count - 0.5
        at = share[:, None] * smear_mm / self._step
        half = int(np.ceil(np.abs(at).max())) + 1
        kernel = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
        low = np.floor(at).astype(int)
        part = at - low
        for dx in (0, 1):
            for dy in (0, 1):
                weight = np.abs(1 - dx - part[:, 0]) * np.abs(1 - dy - part[:, 1])
                np.add.at(kernel, (half + low[:, 0] + dx, half + low[:, 1] + dy), weight)
        return np.asarray(kernel / kernel.sum(), np.float32)
