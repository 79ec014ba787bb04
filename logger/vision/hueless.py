"""How near each place of a picture is to having no hue: what tells boats of foil or white paper from a coloured floor.

The hue of a place is a point: how much stronger than red its blue and its green are, as logarithms. No hue is the
origin, the floor is another point, whatever the light, and mixtures of the two lie between. What lies beside that line
is a third thing (a sail, a hand, a ring), about which this says nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Grey, Mask
from logger.vision.glance import Pictures
from logger.vision.ground import SHRINK
from logger.vision.hues import LOGARITHM
from logger.vision.light import PLAIN, Tone

Floats = NDArray[np.float64]
Colour = NDArray[np.uint8]

_NONE, _OTHER = 60.0, 0
"""The number of a place without hue, and of a third thing."""
_LEAST = 12.0
"""A floor nearer to having no hue tells nothing."""
_ASIDE = 14.0
_BEYOND, _BEFORE = 1.6, -0.5
"""What lies so far from the line, in numbers, or beyond its ends, as shares of it, is a third thing."""
_STRIP_PX2 = 40_000
"""So many pixels at once: their numbers stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Hueless:
    """Brings pictures to numbers: 60 without hue, more toward the floor's, 0 for third things."""

    floor: tuple[float, float]
    """Blue against red and green against red, numbers (0: alike)."""

    @property
    def far(self) -> float:
        """How far the floor is from having no hue, numbers."""
        return float(np.hypot(*self.floor))

    def __call__(self, picture: Colour) -> Grey:
        """(h, w) of a picture (h, w, 3) BGR."""
        return _by_strips(picture, self._shown)

    def _shown(self, picture: Colour) -> Grey:
        along, is_between = _placed(picture, self.floor)
        shown: Grey = np.clip(along + np.float32(_NONE), 1, 255).astype(np.uint8)
        np.copyto(shown, _OTHER, where=is_between == 0)
        return shown


@dataclass(frozen=True, slots=True)
class OthersAsFloor:
    """A film of which pictures `how` makes, with third things as if they were floor."""

    film: Pictures
    how: Hueless

    @property
    def count(self) -> int:
        """How many pictures there are."""
        return self.film.count

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, Grey]]:
        """(number, picture) of the wanted pictures; of all if None."""
        shown = np.arange(256, dtype=np.uint8)
        shown[_OTHER] = round(_NONE + self.how.far)
        return ((n, np.asarray(cv2.LUT(picture, shown), np.uint8)) for n, picture in self.film.pictures(wanted))


@dataclass(frozen=True, slots=True)
class Uncoloured:
    """Brings pictures to their brightness where their hue is none or the floor's, to 0 at third things."""

    floor: tuple[float, float]
    """As of `Hueless`."""

    def __call__(self, picture: Colour) -> Grey:
        """(h, w) of a picture (h, w, 3) BGR."""
        return _by_strips(picture, self._shown)

    def _shown(self, picture: Colour) -> Grey:
        _, is_between = _placed(picture, self.floor)
        shown: Grey = np.maximum(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), 1).astype(np.uint8, copy=False)
        np.copyto(shown, _OTHER, where=is_between == 0)
        return shown


def _by_strips(picture: Colour, how: Callable[[Colour], Grey]) -> Grey:
    """(h, w) of a picture (h, w, 3), a few rows after the other."""
    rows, shown = max(1, _STRIP_PX2 // picture.shape[1]), np.empty(picture.shape[:2], np.uint8)
    for top in range(0, len(picture), rows):
        shown[top : top + rows] = how(picture[top : top + rows])
    return shown


def _placed(picture: Colour, floor: tuple[float, float]) -> tuple[NDArray[np.float32], Grey]:
    """(h, w) how far each place is from having no hue, toward the floor's; and 255 where it is no third thing."""
    far = float(np.hypot(*floor))
    blue, green = (floor[0] / far, floor[1] / far) if far > 0 else (1.0, 0.0)
    logs = cv2.LUT(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB), LOGARITHM)
    # a square matrix: OpenCV takes a tenth of the time over it; in this order grey comes to no hue exactly
    turned = cv2.transform(
        logs, np.array([[-blue - green, green, blue], [green - blue, blue, -green], [0.0, 0.0, 0.0]])
    )
    along, aside = cv2.extractChannel(turned, 0), cv2.extractChannel(turned, 1)
    low, high = min(_BEFORE * far, -_ASIDE), max(_BEYOND * far, far + _ASIDE)
    is_between = cv2.bitwise_and(cv2.inRange(along, low, high), cv2.inRange(aside, -_ASIDE, _ASIDE))
    return np.asarray(along, np.float32), np.asarray(is_between, np.uint8)


def floor_hue(pictures: Iterable[Colour], tank: Mask | None) -> tuple[float, float] | None:
    """Blue against red and green against red of the floor, as `Hueless` wants it; None if there are no pictures.

    Args:
        pictures: a few, (h, w, 3) BGR, most of them water.
        tank: small mask of where water is.
    """
    logs = []
    for picture in pictures:
        some = picture[SHRINK // 2 :: SHRINK, SHRINK // 2 :: SHRINK]
        logs.append(LOGARITHM[some[: len(tank), : tank.shape[1]][tank] if tank is not None else some.reshape(-1, 3)])
    if not logs:
        return None
    every = np.concatenate(logs)
    blue, green = np.median(every[:, :2] - every[:, 2:], axis=0)
    return float(blue), float(green)


def tells(floor: tuple[float, float]) -> bool:
    """Whether a floor of that hue is far enough from having none."""
    return float(np.hypot(*floor)) > _LEAST


def _without_others(numbers: NDArray[np.float32]) -> NDArray[np.float32]:
    known = numbers.copy()
    known[_OTHER] = np.nan
    return known


BRIGHTNESS = Tone(_without_others(PLAIN.of))
"""Of the numbers of `Uncoloured`: third things say nothing."""
NEARNESS = Tone(_without_others(np.arange(256, dtype=np.float32)), wall_shade=1.0)
"""Of the numbers of `Hueless`, which are no light: they mix nearly as they are, and a shaded wall has the deck's."""
