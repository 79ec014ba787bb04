"""Blacking out what a kept film shows beside the water: hands, faces, the room. For good.

Only films of our own recorder, a row of JPEGs, are treated; each picture is coded anew. The stamps stay, so the
recording can be measured again; what stands around the tank is gone, and with it the watch over the camera, which is
said whenever the recording is opened (`SAID`).
"""

from __future__ import annotations

import os
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray

from calibration.files import load_view
from calibration.waterplane import View
from logger.config import Tank
from logger.errors import InputError, StoreError
from logger.recording.mask_mark import MARK, SAID, is_masked
from logger.recording.rig_toml import read_rig
from logger.recording.video import pictures
from logger.settings import sync_folder, write_whole

FILM = "video.mjpeg"
MARGIN_MM = 30.0
"""So far beyond the waterline of the wall it is still shown: a hull that touches the wall leans over it."""
QUALITY = 95
_UNREADABLE = b"\xff\xd8\xff\xd9"
"""Stands for a picture that could not be decoded: it has its place among the stamps, and nothing is in it."""
_STEPS_COUNT = 40


def shown_part(view: View, tank: Tank) -> NDArray[np.bool_]:
    """Which pixels (height, width) show the water, with `MARGIN_MM` around it."""
    corners = np.array([*tank.outline_mm, tank.outline_mm[0]])
    share = np.linspace(0, 1, _STEPS_COUNT)[:, None]
    around = np.concatenate([a * (1 - share) + b * share for a, b in pairwise(corners)])
    seen = view.to_pixels(np.column_stack([around, np.zeros(len(around))])).astype(np.float32)
    part = np.zeros((view.lens.height_px, view.lens.width_px), np.uint8)
    cv2.fillPoly(part, [np.rint(seen).astype(np.int32)], 1)
    px_per_mm = (cv2.contourArea(seen) / cv2.contourArea(around.astype(np.float32))) ** 0.5
    reach = 2 * round(MARGIN_MM * px_per_mm) + 1
    return np.asarray(cv2.dilate(part, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))) > 0)


def mask_film(folder: Path, *, goes_on: Callable[[], bool] = lambda: True) -> bool:
    """Black out the film of the recording in `folder`; whether it is done.

    Nothing is done where there is no such film, or where it was done before.

    Args:
        folder: a recording.
        goes_on: asked before each picture; False: it is left for another time, the film is as it was.

    Raises:
        InputError: rig, calibration or film cannot be read.
        StoreError: it cannot be written; the film is as it was.
    """
    film = folder / FILM
    if is_masked(folder) or not film.is_file():
        return False
    rig = read_rig(folder / "rig.toml")
    if rig.camera is None:
        raise InputError(f"{folder}/rig.toml: there is a film but no [camera]; nobody knows what the film shows")
    shown = shown_part(load_view(folder / rig.camera.calibration), rig.tank)
    growing = folder / f".{FILM}.{os.getpid()}"
    try:
        with growing.open("wb") as file:
            for _, image, _ in pictures(film, grey=False):
                if not goes_on():
                    return False
                file.write(_UNREADABLE if image is None else _masked(image, shown, folder))
            file.flush()
            os.fsync(file.fileno())
        growing.replace(film)
        write_whole(folder / MARK, SAID + "\n")
        sync_folder(folder)
    except OSError as error:
        raise StoreError(f"{film}: cannot be masked ({error.strerror}); free some space, check its rights") from error
    finally:
        growing.unlink(missing_ok=True)
    return True


def _masked(image: NDArray[np.uint8], shown: NDArray[np.bool_], folder: Path) -> bytes:
    if image.shape[:2] != shown.shape:
        raise InputError(f"{folder}: a picture of the film has another size than its calibration")
    black = np.where(shown[..., None], image, np.uint8(0))
    return bytes(simplejpeg.encode_jpeg(np.ascontiguousarray(black), QUALITY, "BGR", "420"))
