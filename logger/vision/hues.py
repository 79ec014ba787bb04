"""What hue a picture has: a shadow darkens the floor and leaves its hue; a coloured boat has another.

The ratio of two colours does not change with the light. JPEG keeps hues at half the sharpness of brightness, so hues
find a boat and tell it from its shadow; its edge is then read in brightness.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Grey

PAIRS = ((1, 2), (0, 2))
"""Green against red, blue against red; numbers of the colours in a BGR picture."""
_DARK, _GAIN = 12.0, 110.0
"""What is added to both colours, so that dark places say little; how many numbers a factor of e makes."""


class ColourPictures(Protocol):
    """Pictures by number that can be had in colour."""

    @property
    def count(self) -> int:
        """How many there are."""
        ...

    def in_colour(self, wanted: Sequence[int]) -> Mapping[int, NDArray[np.uint8]]:
        """(h, w, 3) BGR of the wanted ones by number."""
        ...


@dataclass(frozen=True, slots=True)
class HueFilm:
    """A film whose pictures show the ratio of two colours of another's."""

    film: ColourPictures
    pair: tuple[int, int]
    """The two colours, by their numbers."""

    @property
    def count(self) -> int:
        """How many pictures there are."""
        return self.film.count

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, Grey]]:
        """(number, hue) of the wanted pictures; of all if None."""
        chosen = range(self.count) if wanted is None else sorted(wanted)
        decoded = self.film.in_colour(list(chosen))
        return ((number, hue(decoded[number], self.pair)) for number in chosen if number in decoded)


def hue(picture: NDArray[np.uint8], pair: tuple[int, int]) -> Grey:
    """(h, w) 128 where two colours of a BGR picture are alike, more where the first is the stronger."""
    one, other = (cv2.LUT(cv2.extractChannel(picture, channel), _LOGARITHM) for channel in pair)
    return np.asarray(np.clip(128.0 + one - other, 0, 255), np.uint8)


_LOGARITHM = (_GAIN * np.log(np.arange(256.0) + _DARK)).astype(np.float32)
