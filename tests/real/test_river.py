"""A real rippling river without any boat: nothing must be measured.

Data: github.com/localdevices/pyorc, docs/_images (AGPL-3.0), 480 x 270, 5 pictures a second, 20 pictures.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from logger.recording.folder import load
from logger.vision.track import NotFound
from logger.vision.tracker import track_boat


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
