"""From the numbers in a picture to light.

Where an edge crosses a pixel it is light that mixes, not the camera's numbers: these are bent by a tone curve, and an
edge measured in them seems to lie up to a third of a pixel toward the darker side. The curve of an ordinary camera is
close to a power of 1/2.2 (IEC 61966-2-1); what is left of it after that is part of the outline's doubt.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]
Singles = NDArray[np.float32]

TONE_POWER = 2.2
LIGHT_OF = np.asarray(255.0 * (np.arange(256) / 255.0) ** TONE_POWER, np.float32)
"""Light of each picture number; 255 stays 255."""


def light(picture: Grey) -> Singles:
    """The picture's light, 0 to 255."""
    return np.asarray(cv2.LUT(picture, LIGHT_OF), np.float32)


def light_of_tone(tone: Singles) -> Singles:
    """The light of picture numbers that are averages (not whole numbers); NaN stays NaN."""
    return np.asarray(255.0 * np.power(np.maximum(tone, 0) / 255.0, TONE_POWER), np.float32)


def tone_of_light(light_level: Singles) -> Singles:
    """The picture numbers (not whole) of light; NaN stays NaN."""
    return np.asarray(255.0 * np.power(np.maximum(light_level, 0) / 255.0, 1 / TONE_POWER), np.float32)
