"""What hue a picture has: a shadow darkens the floor and leaves its hue; a coloured boat has another.

The ratio of two colours does not change with the light. JPEG keeps hues at half the sharpness of brightness, so a
boat is found by its hue, but its edge is read in brightness.
"""

from __future__ import annotations

from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Grey

Pair: TypeAlias = tuple[int, int]
"""Two colours, by their numbers in a BGR picture."""

PAIRS: tuple[Pair, ...] = ((0, 2), (1, 2))
"""Blue against red, green against red."""
_DARK, _GAIN = 12.0, 110.0
"""What is added to both colours, so that dark places say little; how many numbers a factor of e makes."""
LOGARITHM = (_GAIN * np.log(np.arange(256.0) + _DARK)).astype(np.float32)
"""(256,) of each number of a colour: differences of two colours do not change with the light."""


def hue(picture: NDArray[np.uint8], pair: Pair) -> Grey:
    """(h, w) 128 where two colours of a BGR picture are alike, more where the first is the stronger."""
    one, other = (cv2.LUT(cv2.extractChannel(picture, channel), LOGARITHM) for channel in pair)
    return np.asarray(np.clip(128.0 + one - other, 0, 255), np.uint8)
