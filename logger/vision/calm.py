"""Is the water calm? From pictures of it a few tenths of a second apart.

Ripples shift what is seen through them and make lights dance. What of a picture of still water changes is noise, which
vanishes in means over blocks of 8 x 8 pixels, and the light as a whole, which is taken out. So the blocks that have
changed most tell; how much, in levels of grey, has been chosen on simulated pictures of still and of rippled water.
On a floor without any pattern in even light, small ripples do not show: "calm" says that nothing is seen to move.
"""

from __future__ import annotations

from collections import deque
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.config import Tank
from logger.records import Frame
from logger.vision.plane import Plane

Singles = NDArray[np.float32]

APART_NS = 200_000_000
"""Two pictures that are compared are so far apart, or more."""
STILL_GREY = 1.5
"""Levels of grey, of 255, that the 99.7th percentile of the blocks may change by."""
STILL_FOR_NS = 1_500_000_000
_BLOCK_PX = 8
_SHARE_PERCENT = 99.7


class Calm:
    """Watches the water of one tank. Feed it pictures in order of time, some five a second."""

    def __init__(self, view: View, tank: Tank) -> None:
        outline_px = Plane(view, 0.0).pixels(np.asarray(tank.outline_mm, np.float64))
        size = (view.lens.height_px // _BLOCK_PX, view.lens.width_px // _BLOCK_PX)
        mask = np.zeros(size, np.uint8)
        cv2.fillPoly(mask, [np.round(outline_px / _BLOCK_PX).astype(np.int32)], 1)
        self._water = np.asarray(cv2.erode(mask, np.ones((3, 3), np.uint8)), bool)
        self._size = size
        self._last: tuple[int, Singles] | None = None
        self._moved: deque[tuple[int, float]] = deque()

    def wants(self, t_ns: int) -> bool:
        """Whether a picture of that time is of any use; others need not be decoded."""
        return self._last is None or t_ns - self._last[0] >= APART_NS

    def feed(self, frame: Frame) -> None:
        """Look at a picture."""
        if not self.wants(frame.t_ns):
            return
        grey = frame.image if frame.image.ndim == 2 else cv2.cvtColor(frame.image, cv2.COLOR_BGR2GRAY)
        rows, columns = self._size
        whole = np.asarray(grey[: rows * _BLOCK_PX, : columns * _BLOCK_PX], np.float32)
        blocks = np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)
        if self._last is not None and self._water.any():
            changed = (blocks - self._last[1])[self._water]
            moved = float(np.percentile(np.abs(changed - np.median(changed)), _SHARE_PERCENT))
            self._moved.append((frame.t_ns, moved))
        self._last = (frame.t_ns, blocks)
        while self._moved and frame.t_ns - self._moved[0][0] > STILL_FOR_NS:
            self._moved.popleft()

    @property
    def moved_grey(self) -> float | None:
        """How much the water moved at the last look, levels of grey; None: not known yet."""
        return self._moved[-1][1] if self._moved else None

    @property
    def water(self) -> Literal["calm", "moving", "unknown"]:
        """Calm: nothing was seen to move for a while."""
        if not self._moved or self._moved[-1][0] - self._moved[0][0] < STILL_FOR_NS // 2:
            return "unknown"
        return "calm" if max(moved for _, moved in self._moved) < STILL_GREY else "moving"
