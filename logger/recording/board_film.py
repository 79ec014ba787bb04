"""Pictures out of a film in which somebody shows a board: the sharpest of each moment."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.errors import InputError

FILM_ENDINGS = (".avi", ".mjpeg", ".mkv", ".mov", ".mp4", ".webm")
MOMENT_S = 0.3
_MOST_MOMENTS_COUNT = 200
_USUAL_RATE_HZ = 30.0
_SMALL_PX = 480


def sharpness(picture: NDArray[np.uint8]) -> float:
    """Higher for a sharper one of pictures that show nearly the same; variance of the Laplacian of a small copy."""
    shrink = max(1, round(picture.shape[1] / _SMALL_PX))
    small = picture[::shrink, ::shrink]
    return float(cv2.Laplacian(small, cv2.CV_32F).var())


def sharpest(path: Path) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Name ("picture 120") and grey picture, one for each moment of the film, at most 200 moments, evenly spread.

    Raises:
        InputError: there is no film that can be read.
    """
    film = cv2.VideoCapture(str(path))
    try:
        # a recording is stored as the sensor sends it, and notes that ask to turn it are not followed anywhere
        film.set(cv2.CAP_PROP_ORIENTATION_AUTO, 0)
        rate_hz = film.get(cv2.CAP_PROP_FPS)
        rate_hz = rate_hz if 1 <= rate_hz <= 1000 else _USUAL_RATE_HZ
        count = film.get(cv2.CAP_PROP_FRAME_COUNT)
        length = max(round(MOMENT_S * rate_hz), int(count / _MOST_MOMENTS_COUNT) if count > 0 else 0, 1)
        best: tuple[float, int, NDArray[np.uint8]] | None = None
        index = -1
        while True:
            there, picture = film.read()
            if not there:
                break
            index += 1
            seen = np.asarray(picture if picture.ndim == 2 else cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
            sharp = sharpness(seen)
            if best is None or sharp > best[0]:
                best = (sharp, index, seen)
            if index % length == length - 1 and best is not None:
                yield f"picture {best[1]}", best[2]
                best = None
        if best is not None:
            yield f"picture {best[1]}", best[2]
    finally:
        film.release()
    if index < 0:
        raise InputError(f"{path}: no film that can be read; wanted one of {', '.join(FILM_ENDINGS)}; is it whole?")
