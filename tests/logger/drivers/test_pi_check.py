"""The self-test of a Pi's camera in plain words, from what libcamera says of a second of pictures."""

from __future__ import annotations

from typing import Any

import pytest

from logger.drivers.interface import Finding
from logger.drivers.pi_check import findings
from logger.drivers.pi_settings import PiCameraOptions

S = 1_000_000_000
T0 = 700 * S
OPTIONS = PiCameraOptions(exposure_us=4000, gain=2.0)
WELL = dict.fromkeys(("settings", "rows", "exposure", "pictures", "rate", "stamps"), "well")


def words(*numbers: int, shift_ns: int = 0, exposure_us: int = 3993, gain: float = 2.0) -> list[dict[str, Any]]:
    return [
        {"SensorTimestamp": T0 + shift_ns + n * S // 30, "ExposureTime": exposure_us, "AnalogueGain": gain}
        for n in numbers or range(30)
    ]


def looked(
    said: list[dict[str, Any]], *, options: PiCameraOptions = OPTIONS, line_ns: int = 18_904, asleep_ns: int = 0
) -> dict[str, Finding]:
    found = findings(
        options, name="cam", line_ns=line_ns, said=said, span_ns=(T0, T0 + S + 50_000_000), asleep_ns=asleep_ns
    )
    assert all(bool(finding.cure) == (finding.health != "well") for finding in found)
    return {finding.part.removeprefix("cam: "): finding for finding in found}


def health(found: dict[str, Finding]) -> dict[str, str]:
    return {part: finding.health for part, finding in found.items()}


def test_a_good_camera_is_well() -> None:
    found = looked(words())
    assert health(found) == WELL
    assert found["exposure"].found == "fixed at 3993 µs at gain 2.00"
    assert found["rows"].found == "18.90 µs each"
    assert found["rate"].found == "30.00 pictures a second, 30 asked"


@pytest.mark.parametrize(
    ("said", "part", "worse", "told"),
    [
        (words(exposure_us=8000), "exposure", "wrong", "8000 µs at gain 2.00; asked were 4000 µs at gain 2"),
        (words(gain=1.0), "exposure", "wrong", "at gain 1.00; asked"),
        (words(*range(10), *range(13, 30)), "pictures", "doubtful", "27 came, 3 missing between them"),
        (words(shift_ns=-3600 * S), "stamps", "wrong", "of another clock (-3600"),
        (words(4, 3, 5), "stamps", "wrong", "a stamp was not after the one before"),
    ],
)
def test_each_thing_that_is_wrong_is_told(said: list[dict[str, Any]], part: str, worse: str, told: str) -> None:
    found = looked(said)
    assert found[part].health == worse
    assert told in found[part].found


def test_a_slow_camera_is_told() -> None:
    found = looked([{**one, "SensorTimestamp": T0 + n * S // 15} for n, one in enumerate(words(*range(15)))])
    assert (found["pictures"].health, found["rate"].health) in {("doubtful", "well"), ("well", "wrong")}


def test_rows_are_doubtful_where_the_sensor_does_not_tell_and_wrong_where_they_cannot_be() -> None:
    assert looked(words(), line_ns=0)["rows"].health == "doubtful"
    assert looked(words(), line_ns=60_000)["rows"].health == "wrong"


def test_an_exposure_of_the_cameras_own_choice_is_doubtful() -> None:
    found = looked(words(), options=PiCameraOptions())
    assert health(found) == WELL | {"exposure": "doubtful"}


def test_no_pictures_are_wrong() -> None:
    assert looked([])["pictures"].health == "wrong"


def test_stamps_that_count_sleep_are_told_apart_from_another_clock() -> None:
    found = looked(words(shift_ns=40 * S), asleep_ns=40 * S)
    assert found["stamps"].health == "doubtful"
    assert "40.000 s that the computer has slept" in found["stamps"].found
