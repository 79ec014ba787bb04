"""What is asked of a webcam is read back, and what was not granted is said in plain words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import pytest

from logger.drivers.v4l2_settings import Granted, V4l2Options, letters, settle
from logger.errors import ConfigError, DriverError
from logger.settings import read
from tests.logger.drivers.fake_capture import HEIGHT, WIDTH, Webcam

FOCUS = {cv2.CAP_PROP_AUTOFOCUS: [0, 1, 1], cv2.CAP_PROP_FOCUS: [0, 250, 0]}
WHITE = {cv2.CAP_PROP_AUTO_WB: [0, 1, 1], cv2.CAP_PROP_WB_TEMPERATURE: [2800, 6500, 4000]}
EXPOSURE = {cv2.CAP_PROP_AUTO_EXPOSURE: [1, 3, 3], cv2.CAP_PROP_EXPOSURE: [1, 330, 157]}


def settled(monkeypatch: pytest.MonkeyPatch, webcam: Webcam, **asked: Any) -> Granted:
    webcam.open_by(monkeypatch)
    options = V4l2Options(**({"device": "cam0", "width_px": WIDTH, "height_px": HEIGHT} | asked))
    return settle(cv2.VideoCapture("cam0", cv2.CAP_V4L2), options)


def test_what_is_asked_is_granted_and_read_back(monkeypatch: pytest.MonkeyPatch) -> None:
    webcam = Webcam(controls={**EXPOSURE, **FOCUS, **WHITE, cv2.CAP_PROP_GAIN: [0, 64, 8]})
    granted = settled(monkeypatch, webcam, exposure_us=5000, gain=20, focus=35, white_balance_k=5000)
    assert granted == Granted(30.0, is_rate_told=True, exposure_ns=5_000_000)
    assert granted.period_ns == 33_333_333
    values = {name: value for name, (_, _, value) in webcam.controls.items()}
    assert values[cv2.CAP_PROP_AUTO_EXPOSURE] == 1, "manual, in V4L2's own menu"
    assert values[cv2.CAP_PROP_EXPOSURE] == 50, "in steps of 100 µs"
    assert (values[cv2.CAP_PROP_GAIN], values[cv2.CAP_PROP_FOCUS]) == (20, 35)
    assert (values[cv2.CAP_PROP_AUTOFOCUS], values[cv2.CAP_PROP_AUTO_WB]) == (0, 0)


def test_what_is_not_asked_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    webcam = Webcam(controls={**FOCUS, **EXPOSURE})
    before = {name: list(values) for name, values in webcam.controls.items()}
    assert settled(monkeypatch, webcam).exposure_ns == 0
    assert webcam.controls == before


@pytest.mark.parametrize(
    ("formats", "told"),
    [
        ([("YUYV", 64, 48)], "asked for pictures of 64 x 48 MJPG, the camera gives 64 x 48 YUYV; ask for one of its"),
        ([("MJPG", 80, 60)], "asked for pictures of 64 x 48 MJPG, the camera gives 80 x 60 MJPG; ask for one of its"),
        ([("MJPG", 64, 40), ("YUYV", 64, 48)], "the camera gives 64 x 40 MJPG"),
    ],
)
def test_another_format_is_refused(monkeypatch: pytest.MonkeyPatch, formats: Any, told: str) -> None:
    with pytest.raises(DriverError, match=rf"^cam0: .*{told}"):
        settled(monkeypatch, Webcam(formats=formats))


def test_a_rate_that_is_only_a_little_different_is_granted_and_told(monkeypatch: pytest.MonkeyPatch) -> None:
    assert settled(monkeypatch, Webcam(rates_hz=(28.5,))).rate_hz == 28.5
    assert settled(monkeypatch, Webcam(tells_rate=False)) == Granted(30.0, is_rate_told=False, exposure_ns=0)


def test_another_rate_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(DriverError, match=r"asked for 30 pictures a second of 64 x 48, the camera gives 15; ask for"):
        settled(monkeypatch, Webcam(rates_hz=(5.0, 15.0)))


@pytest.mark.parametrize(
    ("controls", "asked", "told"),
    [
        ({}, {"exposure_us": 5000}, "an exposure of 5000 µs, the camera has none that can be fixed; ask"),
        (
            {cv2.CAP_PROP_AUTO_EXPOSURE: [3, 3, 3], cv2.CAP_PROP_EXPOSURE: [1, 330, 157]},
            {"exposure_us": 5000},
            "asked for a fixed exposure, the camera stays in automatic mode 3; take",
        ),
        (
            {cv2.CAP_PROP_AUTO_EXPOSURE: [1, 3, 3], cv2.CAP_PROP_EXPOSURE: [100, 330, 157]},
            {"exposure_us": 5000},
            "an exposure of 5000 µs, the camera gives 10000 µs; ask",
        ),
        (EXPOSURE, {"exposure_us": 40_000}, "exposure_us: found 40000, wanted at most 33333, the time of one picture;"),
        ({}, {"gain": 3}, "a gain of 3, the camera has none that can be fixed; change gain"),
        ({cv2.CAP_PROP_GAIN: [0, 64, 8]}, {"gain": 100}, "a gain of 100, the camera gives 64; change gain"),
        (
            {cv2.CAP_PROP_AUTOFOCUS: [1, 1, 1], cv2.CAP_PROP_FOCUS: [0, 9, 0]},
            {"focus": 3},
            "a fixed focus, the camera goes on setting it itself; take focus away",
        ),
    ],
)
def test_a_control_that_cannot_be_fixed_is_refused(
    monkeypatch: pytest.MonkeyPatch, controls: Any, asked: Any, told: str
) -> None:
    copied = {name: list(values) for name, values in controls.items()}
    with pytest.raises(DriverError, match=rf"^cam0: .*{told}"):
        settled(monkeypatch, Webcam(controls=copied), **asked)


def test_an_exposure_a_little_off_is_told_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    assert settled(monkeypatch, Webcam(), exposure_us=4960).exposure_ns == 5_000_000


def test_the_letters_of_a_format_are_told_and_a_strange_one_by_number() -> None:
    assert letters(cv2.VideoWriter.fourcc(*"MJPG")) == "MJPG"
    assert letters(-1.0) == "ÿÿÿÿ"
    assert letters(3.0) == "0x00000003"


def test_an_option_that_makes_no_sense_is_refused_by_its_name(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r'width_px: found 0.*fourcc: found "YUYV", wanted one of "MJPG", "JPEG"'):
        read(V4l2Options, {"width_px": 0, "fourcc": "YUYV"}, file=str(tmp_path))
