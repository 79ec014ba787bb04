"""What the rig's camera sees of the water, with everything drawn on it that the rig file says; of the room, nothing.

For a page: it may stand open while children are about. So all beside the water is black before anything is drawn.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.config import Rig
from logger.errors import InputError
from logger.recording.masking import shown_part
from logger.study.places_seen import beams_of, places_seen
from logger.study.plane_seen import Picture

ENLARGED = 2.0
"""Names are read on a telephone as well, where the picture is a third as wide."""


def rig_seen(image: NDArray[np.uint8], view: View, rig: Rig) -> Picture:
    """The water of the picture with the tank's wall, lines, beams, zones and axes, (height, width, 3), BGR.

    Args:
        image: grey (height, width) or BGR (height, width, 3).
        view: the calibrated camera.
        rig: what is drawn.

    Raises:
        InputError: the picture has another size than the calibration, so nobody knows where the water is in it.
    """
    height_px, width_px = view.lens.height_px, view.lens.width_px
    if image.shape[:2] != (height_px, width_px):
        found = f"{image.shape[1]} x {image.shape[0]} pixels"
        raise InputError(
            f"camera: found pictures of {found}; wanted {width_px} x {height_px} as calibrated; set the camera's size "
            "in the rig file, or calibrate the water plane anew"
        )
    grey = image if image.ndim == 2 else np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)
    shown = shown_part(view, rig.tank)
    return places_seen(np.where(shown, grey, np.uint8(0)), view, rig, beams=beams_of(rig), enlarged=ENLARGED)
