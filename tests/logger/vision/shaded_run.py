"""A painted run of a coloured toy boat beside a shadow as large as itself, as a recording."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from logger.config import Rig
from logger.recording.folder import Recording
from logger.vision.plane import Plane
from tests.logger.vision.painted import Toy, camera, floor, paint, run, voyage

FLOOR = 170.0
SHADOW = 0.62
"""Light of the floor in the shadow, as a share of its number."""
ADJOINING_MM, APART_MM = (-18.0, 62.0), (-18.0, 95.0)
"""Where the shadow's middle lies from the boat's: it touches the hull; there is light floor between."""
WALL = 0.8
"""A wall's number as a share of the deck's."""


def shaded_run(
    folder: Path, bgr: tuple[float, float, float], *, aside_mm: tuple[float, float], count: int = 45
) -> tuple[Recording, Rig, np.ndarray]:
    """(recording, rig, places (N, 2) of the centroid) of a deck of the colour `bgr` on a grey floor."""
    places, headings = voyage(count, rest=12)
    view, toy, rng = camera(size=(640, 360), focal_px=450.0), Toy(), np.random.default_rng(4)
    recording, rig = run(folder, toy, places, headings, view=view)
    water, bare = Plane(view, 0.0), floor(view, level=FLOOR)
    toys = [Toy(deck=level, wall=WALL * level) for level in bgr]
    with (folder / "video.mjpeg").open("wb") as file:
        for (x, y), heading in zip(places, headings, strict=True):
            c, s = np.cos(heading), np.sin(heading)
            cast = toy.outline_mm @ np.array([[c, s], [-s, c]]) + (x + aside_mm[0], y + aside_mm[1])
            shade = np.zeros(bare.shape, np.uint8)
            cv2.fillPoly(shade, [np.round(water.pixels(cast) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
            shaded = bare * (1 - (1 - SHADOW) * cv2.GaussianBlur(shade, (0, 0), 1.5).astype(np.float32) / 255)
            planes = [paint(view, one, shaded, x_mm=x, y_mm=y, heading_rad=heading, rng=rng) for one in toys]
            picture = cv2.imencode(".jpg", np.dstack(planes), [cv2.IMWRITE_JPEG_QUALITY, 90])[1]
            file.write(picture.tobytes())
    return recording, rig, places
