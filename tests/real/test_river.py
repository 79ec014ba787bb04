"""A real rippling river without any boat: nothing must be measured.

Data: github.com/localdevices/pyorc, docs/_images (AGPL-3.0), 480 x 270, 5 pictures a second, 20 pictures.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from logger.recording.folder import load
from logger.vision.track import NotFound
from logger.vision.tracker import track_boat
from logger.vision.watch.steadiness import watch


@pytest.mark.parametrize(
    "boat", ["freeboard_mm = 10", "freeboard_mm = 4\nlength_mm = 85\nwidth_mm = 25"], ids=["no size", "a size"]
)
def test_no_boat_is_followed_on_an_empty_river(
    real_data: Path, as_recording: Callable[..., Path], a_dish: Callable[..., Any], boat: str
) -> None:
    film = real_data / "river_water" / "video_orig.gif"
    dish = a_dish(480, 270, centre_px=(240.0, 135.0), radius_px=125.0, mm_per_px=4.0)
    folder = as_recording("river", video=film, dish=dish, stamps_ns=[i * 200_000_000 for i in range(20)], boat=boat)
    recording = load(folder)
    found = track_boat(recording, recording.rig)
    assert isinstance(found, NotFound)
    assert found.reason


def test_the_hand_that_holds_the_camera_drifts_as_the_stones_say(real_data: Path) -> None:
    """The bank's stones, by phase correlation (OpenCV), are the second witness: a drift of 0.8 px in four seconds."""
    reader, pictures = cv2.VideoCapture(str(real_data / "river_water" / "video_orig.gif")), []
    while (found := reader.read())[0]:
        pictures.append(cv2.cvtColor(found[1], cv2.COLOR_BGR2GRAY))
    turn = np.linspace(0, 2 * np.pi, 40)
    eye = watch(dict(enumerate(pictures)), np.column_stack([240 + 125 * np.cos(turn), 135 + 125 * np.sin(turn)]))
    assert eye is not None
    bank = np.asarray(pictures, np.float32)[:, :64, 10:470]
    window = cv2.createHanningWindow((460, 64), cv2.CV_32F)
    told = [cv2.phaseCorrelate(bank[0], later, window)[0][0] for later in bank]
    seen = [eye.look(n, picture).at(np.array([240.0, 32.0]))[0] for n, picture in enumerate(pictures)]
    assert told[-1] < -0.5
    assert np.abs(np.subtract(seen, told)).max() < 0.35
    assert all(eye.move(n).is_known for n in range(20))
