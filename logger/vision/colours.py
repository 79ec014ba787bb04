"""What colour boat and water have."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision import outline
from logger.vision.film import StoredFilm
from logger.vision.light import Tone, mixing
from logger.vision.plane import Plane
from logger.vision.survey import Survey

Floats = NDArray[np.float64]

_PICTURES_COUNT = 5
_WELL_INSIDE = 0.8
_AROUND = (1.5, 1.8)
"""Inner and outer edge of the band of water that is looked at, as shares of the boat's size."""


def tone(film: StoredFilm, found: Survey, plane: Plane) -> Tone:
    """The tone of the film's grey pictures at the boat's edge."""
    return mixing(*boat_and_water(film, found, plane))


def boat_and_water(film: StoredFilm, found: Survey, plane: Plane) -> tuple[Floats, Floats]:
    """(3,) each: usual blue, green, red of the boat and of the water around, in a few of the surveyed pictures."""
    chosen = np.unique(np.linspace(0, len(found.numbers) - 1, _PICTURES_COUNT).round().astype(int))
    index = {int(found.numbers[k]): k for k in chosen}
    boats, waters = [], []
    for number, picture in film.in_colour(sorted(index)).items():
        k = index[number]
        shape = outline.turned(found.polygon_mm, float(found.heading_rad[k]))
        sizes = (_WELL_INSIDE, *_AROUND)
        inside, inner, outer = (_filled(shape * size + found.place_mm[k], plane, picture) for size in sizes)
        boats.append(np.median(picture[inside > 0], axis=0))
        waters.append(np.median(picture[(outer > 0) & (inner == 0)], axis=0))
    return np.median(boats, axis=0), np.median(waters, axis=0)


def _filled(polygon_mm: Floats, plane: Plane, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """255 where the polygon lies in the picture."""
    mask = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(plane.pixels(polygon_mm)).astype(np.int32)], 255)
    return mask
