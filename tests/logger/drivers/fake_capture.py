"""A webcam on a cable and OpenCV's way to it: a stand-in for cv2.VideoCapture with a little physics.

The camera runs freely: picture k begins at k periods of the bench's clock and is here `transfer_ns` later. Four buffers
wait for pictures; when all are full, the next picture is lost. Nothing takes time but waiting. What OpenCV does where
it matters was read in its source (modules/videoio/src/cap_v4l.cpp, version 5).
"""

from __future__ import annotations

import fcntl
import os
import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

S = 1_000_000_000
MS = 1_000_000
BUFFERS = 4
MENUS = (cv2.CAP_PROP_AUTO_EXPOSURE, cv2.CAP_PROP_AUTOFOCUS, cv2.CAP_PROP_AUTO_WB)
STREAM_PROPERTIES = (cv2.CAP_PROP_FOURCC, cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT, cv2.CAP_PROP_FPS)
WIDTH, HEIGHT = 64, 48


class Bench:
    """A clock that moves when somebody waits, and by a nanosecond when somebody looks."""

    def __init__(self, now_ns: int = 5_000 * S) -> None:
        self._now_ns = now_ns

    def clock(self) -> int:
        self._now_ns += 1
        return self._now_ns

    def wait(self, wait_s: float) -> None:
        self.advance(self.clock() + round(wait_s * S))

    def advance(self, to_ns: int) -> None:
        self._now_ns = max(self._now_ns, to_ns)


class Now(Bench):
    """The real clock, on which waiting takes its time."""

    def clock(self) -> int:
        return time.monotonic_ns()

    def advance(self, to_ns: int) -> None:
        threading.Event().wait(max(0, to_ns - self.clock()) / S)


def picture(number: int, *, width: int = WIDTH, height: int = HEIGHT) -> bytes:
    """A JPEG with something to see in it, another one for each number."""
    image = np.zeros((height, width, 3), np.uint8)
    cv2.circle(image, (number % width, height // 2), 9, (40, 180, 250), -1)
    return bytes(cv2.imencode(".jpg", image)[1].tobytes())


def as_it_is(start_ns: int) -> int:
    """The stamp of a good driver: whole microseconds of the one clock."""
    return start_ns // 1000 * 1000


@dataclass
class Webcam:
    """What is on the other end of the cable."""

    bench: Bench = field(default_factory=Bench)
    period_ns: int = S // 30
    transfer_ns: int = 12 * MS
    stamp: Callable[[int], int] = as_it_is
    is_too_late: Callable[[int], bool] = lambda _: False
    stands_still: Callable[[int], bool] = lambda _: False
    lost: Callable[[int], bool] = lambda _: False
    torn: Callable[[int], bool] = lambda _: False
    away_ns: Sequence[tuple[int, int]] = ()
    """Unplugged from .. to."""
    padding_bytes: int = 0
    """Zeros behind each picture, as some cameras fill their packets."""
    lives_ns: int | None = None
    """Unplugged so long after each opening, and back for the next."""
    is_busy: bool = False
    sends: bool = True
    can_begin: bool = True
    formats: Sequence[tuple[str, int, int]] = (("YUYV", WIDTH, HEIGHT), ("MJPG", WIDTH, HEIGHT))
    rates_hz: Sequence[float] = (30.0,)
    """Those that it grants: the nearest."""
    tells_rate: bool = True
    controls: dict[int, list[float]] = field(
        default_factory=lambda: {
            cv2.CAP_PROP_AUTO_EXPOSURE: [1, 3, 3],
            cv2.CAP_PROP_EXPOSURE: [1, 330, 157],
            cv2.CAP_PROP_GAIN: [0, 64, 8],
        }
    )
    """Least, most, value."""
    opened_count: int = 0
    released_count: int = 0
    has_been_away: bool = False
    numbers: bool = False
    """Its driver numbers the pictures; for a device that is a real node."""
    numbers_from: int = 0
    in_use: Capture | None = None

    def is_away(self, now_ns: int) -> bool:
        return any(begin <= now_ns < end for begin, end in self.away_ns)

    def open_by(self, monkeypatch: pytest.MonkeyPatch) -> Webcam:
        """OpenCV finds this camera."""
        monkeypatch.setenv("OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT", "10")
        monkeypatch.setattr(cv2, "VideoCapture", type("Capture", (Capture,), {"webcam": self}))
        if self.numbers:
            monkeypatch.setattr(fcntl, "ioctl", self.ioctl)
        return self

    def ioctl(self, handle: int, request: int, answer: bytearray) -> int:
        """The kernel's words on the four buffers (struct v4l2_buffer, 64 bit)."""
        assert self.in_use is not None
        assert os.fstat(handle).st_rdev == os.fstat(self.in_use.handle).st_rdev
        index = int.from_bytes(answer[:4], "little")
        if request != 0xC0585609 or index >= BUFFERS:
            raise OSError(22, "Invalid argument")
        number = self.in_use.buffers[index]
        if number is not None:
            seconds, micros = divmod(self.stamp(number * self.period_ns) // 1000, 1_000_000)
            answer[24:40] = struct.pack("=qq", seconds, micros)
            answer[56:60] = struct.pack("=I", (number - self.in_use.first + self.numbers_from) % 2**32)
        answer[12:16] = struct.pack("=I", 0x12000)
        return 0


class Capture:
    """cv2.VideoCapture as far as a V4L2 camera needs it."""

    webcam: Webcam

    def __init__(self, device: str, api: int) -> None:
        assert api == cv2.CAP_V4L2
        self._camera = camera = self.webcam
        camera.opened_count += 1
        if camera.lives_ns is not None:
            camera.away_ns = [(camera.bench.clock() + camera.lives_ns, 2**62)]
        camera.in_use = self
        self.handle = os.open(device, os.O_RDONLY) if camera.numbers else -1
        self.buffers: list[int | None] = [None] * BUFFERS
        self.first = 0
        if camera.is_away(camera.bench.clock()):  # its node goes and comes with it
            if Path(device).is_file():
                Path(device).unlink()
            camera.has_been_away = True
        elif camera.has_been_away:
            Path(device).touch()
        self._is_open = not camera.is_away(camera.bench.clock()) and not camera.is_busy
        self._format = camera.formats[0]
        self._asked = {cv2.CAP_PROP_FRAME_WIDTH: 640.0, cv2.CAP_PROP_FRAME_HEIGHT: 480.0}
        self._rate_hz = camera.rates_hz[0]
        self._converts = True
        self._filled: deque[int] = deque()
        self._filled_count = 0
        self._next: int | None = None
        self._taken: int | None = None

    def isOpened(self) -> bool:  # noqa: N802
        return self._is_open

    def release(self) -> None:
        self._is_open = False
        self._camera.released_count += 1
        if self.handle >= 0:
            os.close(self.handle)
            self.handle = -1

    def set(self, name: int, value: float) -> bool:
        camera = self._camera
        if name == cv2.CAP_PROP_CONVERT_RGB:
            self._converts = bool(value)
        elif name == cv2.CAP_PROP_FPS:
            self._rate_hz = min(camera.rates_hz, key=lambda rate: abs(rate - round(value)))
        elif name in STREAM_PROPERTIES:
            self._asked[name] = value
            self._choose()
        elif name in camera.controls:
            least, most, _ = camera.controls[name]
            if name in MENUS and not least <= round(value) <= most:
                return False
            camera.controls[name][2] = min(max(round(value), least), most)
        else:
            return False
        return True  # whatever it has made of it

    def _choose(self) -> None:
        """The format of the code that was asked, or any; of these the one of the nearest size."""
        code, wide, high = (self._asked.get(name, 0.0) for name in STREAM_PROPERTIES[:3])
        of_code = [f for f in self._camera.formats if cv2.VideoWriter.fourcc(*f[0]) == code] or self._camera.formats
        self._format = min(of_code, key=lambda f: abs(f[1] - wide) + abs(f[2] - high))

    def get(self, name: int) -> float:
        answers = {
            cv2.CAP_PROP_FOURCC: float(cv2.VideoWriter.fourcc(*self._format[0])),
            cv2.CAP_PROP_FRAME_WIDTH: float(self._format[1]),
            cv2.CAP_PROP_FRAME_HEIGHT: float(self._format[2]),
            cv2.CAP_PROP_FPS: self._rate_hz if self._camera.tells_rate else -1.0,
            cv2.CAP_PROP_CONVERT_RGB: float(self._converts),
        }
        if name == cv2.CAP_PROP_POS_MSEC:
            if self._taken is None:
                return 0.0
            seconds, micros = divmod(self._camera.stamp(self._taken * self._camera.period_ns) // 1000, 1_000_000)
            return 1000 * seconds + micros / 1000
        return answers[name] if name in answers else self._camera.controls.get(name, [0, 0, -1.0])[2]

    def grab(self) -> bool:
        camera = self._camera
        self._begin()
        if not self._filled:
            limit_s = float(os.environ["OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT"])
            self._wait(camera.bench.clock() + round(limit_s * S))
        return self._take()

    def _begin(self) -> None:
        if self._next is None and self._camera.can_begin:
            self._next = self.first = -(-self._camera.bench.clock() // self._camera.period_ns)
        self._fill()

    def _fill(self, *, laps: bool = False) -> None:
        """Whatever has arrived up to now goes into the buffers that are free; `laps`: also into those that wait."""
        camera = self._camera
        while self._next is not None and camera.sends and self._arrival_ns(self._next) <= camera.bench.clock():
            gone = camera.is_away(self._arrival_ns(self._next)) or camera.lost(self._next)
            if not gone and (laps or len(self._filled) < BUFFERS):
                if len(self._filled) == BUFFERS:
                    self._filled.popleft()
                self._filled.append(self._next)
                self.buffers[self._filled_count % BUFFERS] = self._next
                self._filled_count += 1
            self._next += 1

    def _arrival_ns(self, number: int) -> int:
        return number * self._camera.period_ns + self._camera.transfer_ns

    def _wait(self, until_ns: int) -> None:
        """Until a picture is there, or the camera is not, or the time is over."""
        camera = self._camera
        while not self._filled and camera.bench.clock() < until_ns:
            moments = [until_ns, *(begin for begin, _ in camera.away_ns if begin > camera.bench.clock())]
            if self._next is not None and camera.sends:
                moments.append(self._arrival_ns(self._next))
            camera.bench.advance(min(moments))
            self._fill()
            if camera.is_away(camera.bench.clock()):
                return

    def _take(self) -> bool:
        if self._camera.is_away(self._camera.bench.clock()) or not self._filled:
            return False
        self._taken = self._filled.popleft()
        self._taken_place = self.buffers.index(self._taken)
        if self._camera.is_too_late(self._taken):  # a driver that takes back what was handed out
            self._camera.bench.wait(6 * self._camera.period_ns / S)
            self._fill(laps=True)
        return True

    def retrieve(self) -> tuple[bool, Any]:
        assert not self._converts
        assert self._taken is not None
        if self._camera.stands_still(self._taken):  # between giving the buffer back and copying it
            self._camera.bench.wait(6 * self._camera.period_ns / S)
            self._fill(laps=True)
        data = picture(self.buffers[self._taken_place] or 0) + bytes(self._camera.padding_bytes)
        if self._camera.torn(self._taken):
            data = data[: len(data) // 2]
        return True, np.frombuffer(data, np.uint8)[None]

    @staticmethod
    def waitAny(streams: Sequence[Capture], timeoutNs: int) -> tuple[bool, Sequence[int]]:  # noqa: N802
        [capture] = streams
        bench = capture._camera.bench
        if capture._next is None:
            raise cv2.error("ptr->havePendingFrame")
        capture._fill()
        if not capture._filled:
            capture._wait(bench.clock() + -(-timeoutNs // MS) * MS)
        if capture._camera.is_away(bench.clock()):
            raise cv2.error("Error is reported for camera stream: 0")
        return (True, [0]) if capture._take() else (False, [])
