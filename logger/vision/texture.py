"""How crinkled a picture looks: what tells a foil boat from the floor and from its own shadow, which are smooth."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Grey
from logger.vision.glance import Pictures
from logger.vision.light import Tone

_FINE_PX, _AROUND_PX = 2.5, 1.5
"""Widths of the Gaussians that take away what is smooth, and that gather what is left."""
_GAIN = 6.0
_FINER_PX, _NEARER_PX, _FINER_GAIN = 1.5, 1.2, 8.0
CRINKLES = Tone(np.arange(256, dtype=np.float32), wall_shade=1.0)
"""Of the numbers of `crinkles`, which are no light: they mix as they are, and a wall is as crinkled as the deck."""


@dataclass(frozen=True, slots=True)
class CrinkledFilm:
    """A film whose pictures show how crinkled those of another are."""

    film: Pictures

    @property
    def count(self) -> int:
        """How many pictures there are."""
        return self.film.count

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, Grey]]:
        """(number, crinkles) of the wanted pictures; of all if None."""
        return ((number, crinkles(picture)) for number, picture in self.film.pictures(wanted))


def crinkled(picture: NDArray[np.uint8]) -> Grey:
    """The same of a picture in colours (h, w, 3), with sharper edges: for fitting."""
    grey = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
    return crinkles(grey, fine_px=_FINER_PX, around_px=_NEARER_PX, gain=_FINER_GAIN)


def crinkles(
    picture: Grey, *, fine_px: float = _FINE_PX, around_px: float = _AROUND_PX, gain: float = _GAIN
) -> NDArray[np.uint8]:
    """(h, w) spread of the light numbers around each pixel once what is smooth is taken away, times 6, at most 255."""
    whole = picture.astype(np.float32)
    fine = whole - cv2.GaussianBlur(whole, (0, 0), fine_px)
    spread = np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), around_px))
    return np.asarray(np.clip(gain * spread, 0, 255), np.uint8)
