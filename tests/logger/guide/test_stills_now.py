from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from logger.config import CameraSetup, DriverChoice, Rig, Tank
from logger.errors import InputError
from logger.guide.stills_now import still_now

RIG = Rig("r", Tank(((0.0, 0.0), (9.0, 0.0), (9.0, 9.0)), 5.0), ())


def test_a_rig_without_a_camera_is_refused() -> None:
    for camera in (None, CameraSetup(None, "camera.toml")):
        with pytest.raises(InputError, match=r"there is no \[camera.driver\]"):
            still_now(replace(RIG, camera=camera), Path("rig.toml"))


def test_what_sends_no_pictures_is_refused() -> None:
    light = CameraSetup(DriverChoice("simulated_light", {}), "camera.toml")
    with pytest.raises(InputError, match="sends no pictures; wanted a camera; change its kind"):
        still_now(replace(RIG, camera=light), Path("rig.toml"))


def test_the_simulated_camera_gives_one_still_picture(filmed_once: Path) -> None:
    from logger.recording.rig_toml import read_rig

    still = still_now(read_rig(filmed_once / "rig.toml"), filmed_once / "rig.toml")
    assert still.grey.ndim == 2
    assert still.grey.std() > 1.0
