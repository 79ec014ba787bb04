"""A painted run of a boat whose sail is of the deck's own light and stands out beyond the hull in every picture."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from logger.config import Rig
from logger.recording.folder import Recording
from logger.vision import outline
from logger.vision.plane import Plane
from tests.logger.vision.painted import Toy, camera, run, voyage

COUNT = 90
SAIL_MM = np.array([[0.0, -25.0], [85.0, -20.0], [85.0, 20.0], [0.0, 25.0]])
"""From the mast outward."""
MAST_MM = (10.0, 0.0)


def sailed_run(folder: Path) -> tuple[Recording, Rig, np.ndarray]:
    """The recording, its rig, and the boat's true places and headings, (N, 3)."""
    toy = Toy()
    places, headings = voyage(COUNT, rest=15)
    recording, rig = run(folder, toy, places, headings)
    plane, rng, video = Plane(camera(), toy.freeboard_mm), np.random.default_rng(4), folder / "sailed.mjpeg"
    with video.open("wb") as file:
        for n, frame in enumerate(recording.frames(grey=True)):
            # it swings from the stern forward, to starboard all the time
            sail = outline.turned(SAIL_MM, np.radians(-170.0 + 130.0 * n / COUNT)) + MAST_MM
            corners = plane.pixels(outline.turned(sail, float(headings[n])) + places[n])
            share = np.zeros(frame.image.shape, np.uint8)
            cv2.fillConvexPoly(share, np.round(corners * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
            light = toy.deck + rng.normal(0, 1.2, share.shape)
            picture = np.clip(np.round(frame.image + (light - frame.image) * (share / 255)), 0, 255).astype(np.uint8)
            file.write(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes())
    return replace(recording, video=video), rig, np.column_stack([places, headings])
