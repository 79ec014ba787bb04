"""A Pi's camera, with a stand-in for its library on the real clock (fake_picamera2.py)."""

from __future__ import annotations

import sys
import threading
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from logger.drivers import pi_camera
from logger.drivers.interface import SelfTesting
from logger.drivers.pi_camera import PiCamera, asleep_ns
from logger.drivers.pi_settings import PiCameraOptions
from logger.errors import DriverError
from logger.recording import jpeg
from logger.records import ClockDoubt, Fault, Frame
from tests.logger.drivers.fake_picamera2 import HEIGHT, WIDTH, S, Sensor, scene

RATE = 100.0


def options(**more: Any) -> PiCameraOptions:
    return PiCameraOptions(**({"width_px": WIDTH, "height_px": HEIGHT, "rate_hz": RATE, "line_ns": 19_000} | more))


def film(sensor: Sensor, patch: pytest.MonkeyPatch, *, count: int = 40, **more: Any) -> list[Any]:
    """Everything up to so many pictures."""
    sensor.module(patch)
    stop, records, frames = threading.Event(), [], 0
    with PiCamera(options(**more), name="cam") as camera:
        for record in camera.records(stop):
            records.append(record)
            frames += isinstance(record, Frame)
            if frames == count:
                stop.set()
    assert sensor.buffers_free_count == sensor.buffers_count, "every buffer is given back"
    assert sensor.closed_count == 1
    stamps = [record.t_ns for record in records]
    assert all(0 < later - earlier <= 100_000_000 for earlier, later in pairwise(stamps))
    return records


def of(kind: type, records: list[Any]) -> list[Any]:
    return [record for record in records if isinstance(record, kind)]


def test_a_picture_begins_its_exposure_before_its_readout(monkeypatch: pytest.MonkeyPatch) -> None:
    sensor = Sensor(exposure_us=3000)
    frames = of(Frame, film(sensor, monkeypatch, exposure_us=3000))
    readouts = set(sensor.readouts_ns)
    for frame in frames:
        assert frame.t_ns + 3_000_000 in readouts
        assert (frame.exposure_ns, frame.line_ns) == (3_000_000, 19_000)
        assert frame.row_time_ns(0) + 1_500_000 in readouts  # the middle of the first row is half an exposure before
    assert [frame.sequence for frame in frames] == [round((frame.t_ns - frames[0].t_ns) / S * RATE) for frame in frames]


def test_a_picture_whose_exposure_had_begun_before_is_no_trouble(monkeypatch: pytest.MonkeyPatch) -> None:
    sensor = Sensor(exposure_us=9900).module(monkeypatch)
    with PiCamera(options(), name="cam") as camera:
        for _ in range(8):
            stop, records = threading.Event(), []
            begun_ns = time.monotonic_ns()
            for record in camera.records(stop):
                records.append(record)
                if isinstance(record, Frame | Fault):
                    stop.set()
            assert of(Fault, records) == []
            assert of(Frame, records)[0].t_ns > begun_ns
    assert sensor.buffers_free_count == sensor.buffers_count


def test_a_picture_is_coded_once_and_both_forms_show_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    frames = of(Frame, film(Sensor(), monkeypatch, count=5))
    for frame in frames:
        assert jpeg.look(frame.jpeg).is_whole
        decoded = jpeg.decode(frame.jpeg, grey=False)
        assert decoded is not None
        assert np.abs(decoded.astype(int) - frame.image).max() <= 6
        assert frame.image.shape == scene(0).shape
        assert not frame.image.flags.writeable


def test_everything_is_asked_of_libcamera_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    sensor = Sensor()
    film(sensor, monkeypatch, count=1, exposure_us=3000, gain=2.0)
    assert sensor.asked["main"] == {"size": (WIDTH, HEIGHT), "format": "RGB888"}
    assert sensor.asked["controls"] == {
        "FrameDurationLimits": (10_000, 10_000), "AeEnable": False, "ExposureTime": 3000, "AnalogueGain": 2.0,
    }  # fmt: skip


def test_lost_pictures_leave_their_numbers_out(monkeypatch: pytest.MonkeyPatch) -> None:
    frames = of(Frame, film(Sensor(lost=lambda n: n % 10 == 7), monkeypatch))
    assert [frame.sequence for frame in frames] == [round((frame.t_ns - frames[0].t_ns) / S * RATE) for frame in frames]
    assert frames[-1].sequence >= len(frames) + 2


def test_the_sensor_is_asked_for_the_time_of_its_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[str, int]] = []

    def answer(model: str, mode_width_px: int) -> int:
        asked.append((model, mode_width_px))
        return 18_904

    monkeypatch.setattr(pi_camera, "line_ns", answer)
    [frame] = of(Frame, film(Sensor(), monkeypatch, count=1, line_ns=None))
    assert frame.line_ns == 18_904
    assert asked == [("imx219", 1640)], "the width of the sensor's mode, not of the picture"


def test_the_two_clocks_of_this_computer_are_told_apart() -> None:
    """proc(5): /proc/uptime counts sleep, as CLOCK_BOOTTIME does."""
    uptime_s = float(Path("/proc/uptime").read_text(encoding="ascii").split()[0])
    assert asleep_ns() / S == pytest.approx(uptime_s - time.monotonic_ns() / S, abs=0.1)


def test_stamps_that_count_sleep_are_mapped_and_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    slept_ns = 40 * S
    monkeypatch.setattr(pi_camera, "asleep_ns", lambda: slept_ns)
    sensor = Sensor(stamp=lambda readout_ns: readout_ns + slept_ns)
    records = film(sensor, monkeypatch)
    [fault] = of(Fault, records)
    assert "slept for 40.000 s" in fault.what
    assert all(frame.t_ns + 3_000_000 in set(sensor.readouts_ns) for frame in of(Frame, records))
    assert of(ClockDoubt, records) == []


def test_stamps_of_a_third_clock_are_told_and_arrival_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    records = film(Sensor(stamp=lambda readout_ns: readout_ns + 3600 * S), monkeypatch)
    [fault], [doubt] = of(Fault, records), of(ClockDoubt, records)
    assert "another clock (+3599.9" in fault.what
    assert doubt.u_ns == round(2 * S / RATE / 12**0.5)
    assert all(abs(frame.t_ns - time.monotonic_ns()) < 60 * S for frame in of(Frame, records))


def test_a_sensor_that_falls_silent_ends_in_a_lasting_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    records = film(Sensor(lives_s=0.2), monkeypatch, count=10**6)
    last = records[-1]
    assert last.lasting
    assert last.what == "no picture came for 2 s"
    assert "ribbon cable" in last.cure


def test_a_slow_reader_loses_pictures_and_never_stops_the_camera(monkeypatch: pytest.MonkeyPatch) -> None:
    sensor = Sensor().module(monkeypatch)
    stop, frames = threading.Event(), []
    with PiCamera(options(), name="cam") as camera:
        for record in camera.records(stop):
            if isinstance(record, Frame):
                frames.append(record)
                threading.Event().wait(0.05 if len(frames) < 8 else 0)
                if len(frames) == 40:
                    stop.set()
    assert all(frame.sequence == round((frame.t_ns - frames[0].t_ns) / S * RATE) for frame in frames)
    assert sensor.buffers_least_count >= sensor.buffers_count - 6, "four wait, one is read, one comes in"
    assert sensor.buffers_free_count == sensor.buffers_count


def test_the_self_test_tells_settings_and_stamps(monkeypatch: pytest.MonkeyPatch) -> None:
    Sensor(exposure_us=3000, gain=2.0).module(monkeypatch)
    with PiCamera(options(exposure_us=3000, gain=2.0), name="cam") as camera:
        assert isinstance(camera, SelfTesting)
        found = {finding.part: finding for finding in camera.self_test()}
    assert found["cam: exposure"].found == "fixed at 3000 µs at gain 2.00"
    assert found["cam: stamps"].health == "well"


@pytest.mark.parametrize(
    ("sensor", "told"),
    [
        (Sensor(models=[]), "asked for camera 0, found none; look at the ribbon cable"),
        (Sensor(size=(128, 96)), "asked for pictures of 64 x 48, the camera gives 128 x 96 RGB888; ask"),
        (Sensor(fails="did not complete"), r"the camera cannot be started \(did not complete\); end other programs"),
    ],
    ids=["none", "size", "busy"],
)
def test_what_cannot_be_opened_says_why(sensor: Sensor, told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    sensor.module(monkeypatch)
    with pytest.raises(DriverError, match=f"^cam: {told}"):
        PiCamera(options(), name="cam").__enter__()


def test_a_missing_library_says_how_to_have_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "picamera2", None)
    with pytest.raises(DriverError, match=r"picamera2 cannot be loaded .*apt install python3-picamera2"):
        PiCamera(options(), name="cam").__enter__()


def test_options_that_cannot_be_meant_so_are_refused() -> None:
    with pytest.raises(DriverError, match="cam: found gain without exposure_us; wanted both"):
        PiCamera(options(gain=2.0), name="cam").__enter__()


def test_records_are_to_be_had_inside_with_only() -> None:
    with pytest.raises(DriverError, match="not open; use it inside `with`"):
        next(PiCamera(options(), name="cam").records(threading.Event()))
