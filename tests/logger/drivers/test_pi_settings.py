"""What is asked of a Pi's camera, as libcamera wants it."""

from __future__ import annotations

from logger.drivers.pi_settings import PiCameraOptions
from logger.settings import read


def test_everything_that_is_asked_is_fixed() -> None:
    asked = {
        "rate_hz": 50, "exposure_us": 4000, "gain": 2.5, "colour_gains": [1.6, 2.1], "focus_per_m": 0.7,
    }  # fmt: skip
    options = read(PiCameraOptions, asked, file="rig.toml")
    assert options.complaint() == ""
    assert options.controls() == {
        "FrameDurationLimits": (20_000, 20_000),
        "AeEnable": False, "ExposureTime": 4000, "AnalogueGain": 2.5,
        "AwbEnable": False, "ColourGains": (1.6, 2.1),
        "AfMode": 0, "LensPosition": 0.7,
    }  # fmt: skip


def test_what_is_not_asked_is_left_alone_but_for_the_rate() -> None:
    assert PiCameraOptions().controls() == {"FrameDurationLimits": (33_333, 33_333)}
    assert PiCameraOptions().period_ns == 33_333_333


def test_an_exposure_alone_goes_with_a_gain_of_one() -> None:
    assert PiCameraOptions(exposure_us=4000).controls()["AnalogueGain"] == 1.0


def test_what_cannot_be_meant_so_is_said() -> None:
    assert PiCameraOptions(gain=2.0).complaint().startswith("found gain without exposure_us;")
    assert PiCameraOptions(exposure_us=40_000).complaint().startswith("exposure_us: found 40000, wanted at most 33333,")
