from __future__ import annotations

import numpy as np
import pytest

from logger.checkup.camera_look import CameraLook
from logger.records import Frame
from tests.calibration.tank_picture import HEIGHT_PX, WIDTH_PX, Scene, picture
from tests.logger.checkup.fake_devices import pictures

TANK = picture(scene=Scene(boat_mm=(300.0, 0.0)))
SIZE = (WIDTH_PX, HEIGHT_PX)


def looked(
    image: np.ndarray = TANK, *, asked_hz: float | None = 30.0, tests_itself: bool = False, **how: object
) -> CameraLook:
    eye = CameraLook(asked_hz=asked_hz, size_px=SIZE, tests_itself=tests_itself)
    for frame in pictures(image, **how)(10**12):  # type: ignore[arg-type]
        assert isinstance(frame, Frame)
        if eye.is_enough():
            break
        eye.hear(frame)
    return eye


def bad(eye: CameraLook) -> dict[str, str]:
    return {one.part: one.health for one in eye.findings(eye.pictures()) if one.health != "well"}


def test_a_good_camera_is_well_and_says_how_fast_it_fills_the_disk() -> None:
    eye = looked()
    assert bad(eye) == {}
    seen = eye.pictures()
    assert seen is not None
    assert seen.bytes_per_s == pytest.approx(50_000 * 30, rel=1e-6)
    assert seen.still.shape == (HEIGHT_PX, WIDTH_PX)


def test_two_seconds_of_pictures_are_enough_also_of_a_quick_replay() -> None:
    eye = CameraLook(asked_hz=30, size_px=None, tests_itself=False, now_s=lambda: 0.0)
    frames = list(pictures(TANK)(0))
    while not eye.is_enough():
        eye.hear(frames.pop(0))  # type: ignore[arg-type]
    assert 90 - len(frames) == 62


def test_without_pictures_it_is_enough_after_a_while() -> None:
    clock = iter([0.0, 1.0, 7.0])
    eye = CameraLook(asked_hz=30, size_px=None, tests_itself=False, now_s=lambda: next(clock))
    assert [eye.is_enough(), eye.is_enough()] == [False, True]
    assert eye.pictures() is None
    (none,) = eye.findings(None)
    assert (none.health, none.found) == ("wrong", "no picture came")


def test_pictures_of_another_size_than_the_calibrations_are_wrong() -> None:
    eye = CameraLook(asked_hz=30, size_px=(1280, 720), tests_itself=True)
    for frame in list(pictures(TANK)(0))[:5]:
        eye.hear(frame)  # type: ignore[arg-type]
    size = next(eye.findings(eye.pictures()))
    assert (size.health, size.found) == ("wrong", "pictures of 480 x 300; the calibration holds for 1280 x 720 only")


def test_another_rate_and_missing_pictures_are_doubtful() -> None:
    assert bad(looked(rate_hz=24.0)) == {"camera: rate": "doubtful"}
    assert bad(looked(rate_hz=24.0, asked_hz=None)) == {}
    assert bad(looked(missing=2)) == {"camera: rate": "doubtful"}
    assert bad(looked(missing=2, tests_itself=True)) == {}, "its driver has said so already"


def test_an_exposure_that_changes_by_itself_is_doubtful() -> None:
    eye = CameraLook(asked_hz=None, size_px=None, tests_itself=False)
    for number in range(6):
        eye.hear(Frame(number * 200_000_000, TANK, number, "camera", exposure_ns=4_000_000 + number * 100_000))
    assert bad(eye) == {"camera: exposure": "doubtful"}


def test_pictures_in_colour_are_looked_at_as_grey_ones() -> None:
    assert bad(looked(np.dstack([TANK] * 3), jpeg=None)) == {}


def test_black_pictures_are_wrong() -> None:
    assert bad(looked(np.zeros_like(TANK))) == {"camera: light": "wrong"}
