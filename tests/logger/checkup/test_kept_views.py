from __future__ import annotations

from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.waterplane import View
from logger.checkup.kept_views import compared, keep, kept
from logger.drivers.interface import Finding
from logger.errors import StoreError
from tests.calibration.tank_picture import HEIGHT_PX, LENS, PLACES_MM, POSE, VIEW, WATER_MM, WIDTH_PX, Scene, picture

DAY = date(2026, 11, 25)
KNOCKED = POSE.moved([0.004, 0.0, 0.0], [0.0, 0.0, 0.0])


def place_of(folder: Path, now: np.ndarray, *, allowed_mm: float = 1.5) -> Finding:
    before = kept(folder / "camera.toml", VIEW)
    return compared(before, VIEW, now, water_mm=WATER_MM, places_mm=PLACES_MM, allowed_mm=allowed_mm)


def test_a_picture_is_kept_whole_beside_the_calibration_and_never_overwritten(tmp_path: Path) -> None:
    first, second = picture(POSE, Scene(seed=1)), picture(POSE, Scene(seed=2))
    paths = [keep(tmp_path / "camera.toml", VIEW, p, day=DAY) for p in (first, second)]
    assert [path.name[:12] for path in paths] == ["camera-view-", "camera-view-"]
    assert [path.name[20:] for path in paths] == ["-2026-11-25.png", "-2026-11-25-2.png"]
    assert np.array_equal(cv2.imread(str(paths[0]), cv2.IMREAD_GRAYSCALE), first)
    assert kept(tmp_path / "camera.toml", VIEW) == paths


def test_the_oldest_comes_first_also_after_the_tenth_of_a_day(tmp_path: Path) -> None:
    small = np.zeros((4, 4), np.uint8)
    paths = [keep(tmp_path / "rig-1.toml", VIEW, small, day=DAY) for _ in range(11)]
    earlier = keep(tmp_path / "rig-1.toml", VIEW, small, day=date(2026, 3, 1))
    assert kept(tmp_path / "rig-1.toml", VIEW) == [earlier, *paths]


def test_another_calibrations_pictures_do_not_count(tmp_path: Path) -> None:
    keep(tmp_path / "camera.toml", View(LENS, KNOCKED), picture(), day=DAY)
    assert kept(tmp_path / "camera.toml", VIEW) == []
    told = place_of(tmp_path, picture())
    assert (told.health, "no picture was kept" in told.found) == ("doubtful", True)
    assert "--keep-view" in told.cure


def test_a_camera_that_stands_still_is_well_and_a_knocked_one_wrong(tmp_path: Path) -> None:
    keep(tmp_path / "camera.toml", VIEW, picture(POSE, Scene(seed=1)), day=DAY)
    assert place_of(tmp_path, picture(POSE, Scene(seed=2, gain=0.8))).health == "well"
    told = place_of(tmp_path, picture(KNOCKED, Scene(seed=3)))
    assert told.health == "wrong"
    assert told.found.startswith("the camera has moved by 4.")
    assert "calibrate the plane again" in told.cure


def test_a_small_knock_beside_what_is_allowed_is_doubtful(tmp_path: Path) -> None:
    keep(tmp_path / "camera.toml", VIEW, picture(POSE, Scene(seed=1)), day=DAY)
    told = place_of(tmp_path, picture(KNOCKED, Scene(seed=3)), allowed_mm=4.2)
    assert (told.health, "may have moved" in told.found) == ("doubtful", True)


def test_what_cannot_be_told_is_said_with_what_helps(tmp_path: Path) -> None:
    keep(tmp_path / "camera.toml", VIEW, np.full((HEIGHT_PX, WIDTH_PX), 90, np.uint8), day=DAY)
    told = place_of(tmp_path, picture())
    assert (told.health, told.found.startswith("cannot tell")) == ("doubtful", True)
    assert "marks with sharp edges on the rim" in told.cure
    assert place_of(tmp_path, picture(), allowed_mm=1e-4).health == "doubtful"


def test_a_newer_picture_cannot_hide_an_earlier_movement_and_a_useless_one_is_passed_over(tmp_path: Path) -> None:
    (tmp_path / "x").mkdir()
    useless = keep(tmp_path / "camera.toml", VIEW, picture(), day=date(2026, 1, 1))
    useless.write_bytes(b"no picture")
    keep(tmp_path / "camera.toml", VIEW, picture(POSE, Scene(seed=1)), day=date(2026, 2, 1))
    keep(tmp_path / "camera.toml", VIEW, picture(KNOCKED, Scene(seed=2)), day=date(2026, 3, 1))
    assert place_of(tmp_path, picture(KNOCKED, Scene(seed=3))).health == "wrong"


def test_where_nothing_can_be_written_nothing_is_left_behind(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be written"):
        keep(tmp_path / "no" / "camera.toml", VIEW, picture(), day=DAY)
