"""A Pi's camera and the library to it: a stand-in for the module picamera2 with a little physics, on the real clock.

A thread reads a sensor out at an even pace. Each picture needs a free buffer; one that was acquired and not yet
released is not free. What the library does where it matters was read in its source (picamera2/picamera2.py,
process_requests: `pre_callback` is called for every request, which lives on for whoever acquires it).
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any

import numpy as np
import pytest

S = 1_000_000_000
WIDTH, HEIGHT = 64, 48


def scene(number: int) -> np.ndarray[Any, Any]:
    """A picture, another one for each number; smooth, so that JPEG hardly changes it."""
    ramp = np.linspace(0, 80, WIDTH)[None, :, None] + np.array([20, 60, 100.0])
    return np.broadcast_to(ramp + number % 50, (HEIGHT, WIDTH, 3)).astype(np.uint8)


@dataclass
class Sensor:
    """What is on the ribbon cable."""

    rate_hz: float = 100.0
    exposure_us: int = 3000
    gain: float = 2.0
    lives_s: float | None = None
    """Pictures end after so long."""
    sends: bool = True
    models: list[str] = field(default_factory=lambda: ["imx219"])
    size: tuple[int, int] | None = None
    """If it gives another one than it is asked for."""
    fails: str = ""
    stamp: Callable[[int], int] = lambda readout_ns: readout_ns
    lost: Callable[[int], bool] = lambda _: False
    readouts_ns: list[int] = field(default_factory=list)
    asked: dict[str, Any] = field(default_factory=dict)
    closed_count: int = 0
    buffers_free_count: int = 0
    buffers_count: int = 0
    buffers_least_count: int = 99

    def module(self, patch: pytest.MonkeyPatch) -> Sensor:
        """`import picamera2` finds it."""
        module = ModuleType("picamera2")
        module.Picamera2 = type("Picamera2", (Picamera2,), {"sensor": self})  # type: ignore[attr-defined]
        patch.setitem(sys.modules, "picamera2", module)
        return self


class Request:
    """One buffer with a picture in it."""

    def __init__(self, sensor: Sensor, number: int, said: dict[str, Any]) -> None:
        self._sensor, self._number, self._said, self._uses = sensor, number, said, 1
        sensor.buffers_free_count -= 1
        sensor.buffers_least_count = min(sensor.buffers_least_count, sensor.buffers_free_count)

    def acquire(self) -> None:
        assert self._uses > 0, "acquired after its end"
        self._uses += 1

    def release(self) -> None:
        assert self._uses > 0, "released twice"
        self._uses -= 1
        if self._uses == 0:
            self._sensor.buffers_free_count += 1

    def get_metadata(self) -> dict[str, Any]:
        return self._said

    def make_array(self, name: str) -> np.ndarray[Any, Any]:
        assert name == "main"
        assert self._uses > 0, "read after its end"
        return scene(self._number)


class Picamera2:
    """picamera2.Picamera2 as far as the driver needs it."""

    sensor: Sensor

    def __init__(self, camera_num: int) -> None:
        if self.sensor.fails:
            raise RuntimeError(self.sensor.fails)
        self.camera_properties = {"Model": self.sensor.models[camera_num]}
        self.pre_callback: Callable[[Request], None] | None = None
        self._over = threading.Event()
        self._thread: threading.Thread | None = None
        self._config: dict[str, Any] = {}

    @classmethod
    def global_camera_info(cls) -> list[dict[str, Any]]:
        return [{"Model": model, "Num": number} for number, model in enumerate(cls.sensor.models)]

    def create_video_configuration(self, **asked: Any) -> dict[str, Any]:
        return asked

    def configure(self, config: dict[str, Any]) -> None:
        self.sensor.asked = config
        size = self.sensor.size or config["main"]["size"]
        self._config = {
            "main": {"size": size, "format": config["main"]["format"]},
            "sensor": {"output_size": (1640, 1232)},
        }
        self.sensor.buffers_free_count = self.sensor.buffers_count = config["buffer_count"]

    def camera_configuration(self) -> dict[str, Any]:
        return self._config

    def start(self) -> None:
        self._over.clear()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        sensor, begun_ns = self.sensor, time.monotonic_ns()
        number = 0
        while not self._over.is_set():
            number += 1
            readout_ns = begun_ns + round(number * S / sensor.rate_hz)
            self._over.wait(max(0, readout_ns + 4_000_000 - time.monotonic_ns()) / S)  # read out and brought here
            if sensor.lives_s is not None and readout_ns - begun_ns > sensor.lives_s * S:
                continue
            if self._over.is_set() or not sensor.sends or sensor.lost(number) or sensor.buffers_free_count == 0:
                continue
            sensor.readouts_ns.append(readout_ns)
            said = {
                "SensorTimestamp": sensor.stamp(readout_ns), "ExposureTime": sensor.exposure_us,
                "AnalogueGain": sensor.gain, "FrameDuration": round(1e6 / sensor.rate_hz),
            }  # fmt: skip
            request = Request(sensor, number, said)
            if self.pre_callback is not None:
                self.pre_callback(request)
            request.release()

    def stop(self) -> None:
        self._over.set()
        if self._thread is not None:
            self._thread.join()

    def close(self) -> None:
        self.sensor.closed_count += 1
