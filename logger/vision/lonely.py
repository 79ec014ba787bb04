"""What looks like the boat for a moment only is none."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from logger.vision.fit import Fit

_NEAR_COUNT, _BORNE_OUT_COUNT = 4, 4
"""Among a picture and so many on either side so many must show the boat."""


def without_lonely(fits: Mapping[int, Fit]) -> dict[int, Fit]:
    """`fits` without those that hardly any picture near them bears out: a boat does not show up for a moment only.

    By chance a ring, a glint or a hand looks like the boat in one picture.
    """
    numbers = np.array(sorted(fits), np.int64)
    beside = np.searchsorted(numbers, numbers + _NEAR_COUNT, "right") - np.searchsorted(numbers, numbers - _NEAR_COUNT)
    return {int(n): fits[int(n)] for n in numbers[beside >= min(_BORNE_OUT_COUNT, len(numbers))]}
