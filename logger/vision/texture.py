"""How crinkled a picture looks: what tells a foil boat from the floor and from its own shadow, which are smooth."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Grey
from logger.vision.glance import Pictures

_FINE_PX, _AROUND_PX = 2.5, 1.5
"""Widths of the Gaussians that take away what is smooth, and that gather what is left."""
_GAIN = 6.0


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


def crinkles(picture: Grey) -> NDArray[np.uint8]:
    """(h, w) spread of the light numbers around each pixel once what is smooth is taken away, times 6, at most 255."""
    whole = picture.astype(np.float32)
    fine = whole - cv2.GaussianBlur(whole, (0, 0), _FINE_PX)
    spread = np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), _AROUND_PX))
    return np.asarray(np.clip(_GAIN * spread, 0, 255), np.uint8)
