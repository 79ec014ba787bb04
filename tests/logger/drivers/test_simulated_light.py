"""What is particular to the simulated light and its camera; what all drivers promise is asked in test_contract.py."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from logger.drivers.simulated_light import (
    BlinkingCameraOptions,
    SimulatedBlinkingCamera,
    SimulatedLight,
    SimulatedLightOptions,
)
from logger.errors import DriverError
from logger.records import Frame
from tests.logger.drivers.blinking_world import S_NS, TubClock


def seen(options: BlinkingCameraOptions, *, on_at_s: float) -> tuple[list[Frame], tuple[int, int]]:
    """Two seconds of pictures; the light is switched on after `on_at_s`."""
    clock, stop, frames = TubClock(), threading.Event(), []
    camera = SimulatedBlinkingCamera(options, name="eye", clock=clock.now_ns, wait=clock.idle)
    lamp = SimulatedLight(SimulatedLightOptions(options.tub), name="lamp", clock=clock.now_ns)

    def listen() -> None:
        frames.extend(record for record in camera.records(stop) if isinstance(record, Frame))

    with camera, lamp:
        thread = threading.Thread(target=listen)
        thread.start()
        clock.pass_s(on_at_s)
        moment = lamp.switch(True)
        clock.pass_s(2 - on_at_s)
        stop.set()
        thread.join(10)
    return frames, moment


def test_the_camera_shows_the_light_late_by_its_delay() -> None:
    frames, (before_ns, after_ns) = seen(BlinkingCameraOptions(tub="late", delay_s=0.2, frame_rate_hz=60), on_at_s=1)
    glow = np.array([float(frame.image[85:95, 205:215].mean()) for frame in frames])
    lit = glow > (glow.min() + glow.max()) / 2
    first = frames[int(np.argmax(lit))]
    assert before_ns <= after_ns
    assert first.row_time_ns(90) - before_ns == pytest.approx(0.2 * S_NS, abs=S_NS / 60)
    assert lit[int(np.argmax(lit)) :].all()


def test_a_camera_that_does_not_say_its_exposure_says_nought() -> None:
    frames, _ = seen(BlinkingCameraOptions(tub="silent", says_exposure=False, frame_rate_hz=10), on_at_s=0.5)
    assert {frame.exposure_ns for frame in frames} == {0}
    assert {frame.line_ns for frame in frames} == {20_000}


def test_closed_drivers_say_so() -> None:
    camera = SimulatedBlinkingCamera(BlinkingCameraOptions(), name="eye")
    with pytest.raises(DriverError, match="eye: the simulated camera is not open"):
        next(iter(camera.records(threading.Event())))
    with pytest.raises(DriverError, match="lamp: the simulated light is not open"):
        SimulatedLight(SimulatedLightOptions(), name="lamp").switch(True)
