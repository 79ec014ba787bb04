"""A camera at the Pi's own connector, through libcamera (picamera2). Tried with a stand-in only: no Pi was at hand.

What a stamp means. `SensorTimestamp` is when row 0 began to be *read out*; its exposure began `ExposureTime` earlier,
and so `Frame.t_ns` is SensorTimestamp − ExposureTime (picamera2's own example of a picture taken not before a given
moment counts so too). A USB camera's stamp means something else: each kind of camera has its own `camera.delay_s`.

Which clock. libcamera's documentation says CLOCK_BOOTTIME, the Pi's driver hands out CLOCK_MONOTONIC. They differ by
the time that the computer has slept, on a Pi as a rule none: less than a millisecond is left as it is. Where they do
differ, the first fresh picture shows which it is, and a Fault says what was done.

The pictures. The camera's processor hands out plain BGR arrays, which are coded once, as JPEG: 3.0 ms for 1280 × 720
on one core of a PC; coding from YUV would take 2.7 ms and then 3.3 ms to have the picture in colours.

libcamera's thread calls back for each picture; few are held, so that the camera never waits for us.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from typing import Any, ClassVar, Self

import numpy as np
import simplejpeg
from numpy.typing import NDArray

from logger.drivers.camera_flow import AHEAD, Flow, Taken
from logger.drivers.frame_stamps import S_NS, Gaps, StampClock
from logger.drivers.interface import Finding, Stop
from logger.drivers.pi_check import findings
from logger.drivers.pi_sensor import line_ns
from logger.drivers.pi_settings import PiCameraOptions
from logger.errors import DriverError
from logger.records import ClockDoubt, Fault, Frame, Quiet

BUFFERS_COUNT, HELD_COUNT = 8, 4
"""Of libcamera · of these we hold at most so many."""
WAIT_S = 0.05
NONE_FOR_NS, NONE_FOR_PERIODS = 2 * S_NS, 5
CLOCKS_ALIKE_NS = 1_000_000
INSTALL = (
    "install it from the operating system (sudo apt install python3-picamera2) and make the virtual environment with "
    "--system-site-packages"
)

Said = Frame | Quiet | Fault | ClockDoubt


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """A picture and what libcamera says of it."""

    sensor_ns: int
    """SensorTimestamp."""
    exposure_ns: int
    image: NDArray[np.uint8]
    """(height, width, 3), BGR."""
    said: dict[str, Any]


class PiCamera:
    """One camera. Not for two threads at once."""

    Options: ClassVar[type] = PiCameraOptions

    def __init__(self, options: PiCameraOptions, *, name: str) -> None:
        self.name = name
        self._options = options
        self._camera: Any = None
        self._line_ns = 0
        self._held: deque[Any] = deque()
        self._arrived = threading.Condition()

    def __enter__(self) -> Self:
        o = self._options
        if complaint := o.complaint():
            raise DriverError(f"{self.name}: {complaint}")
        library = self._library()
        try:
            self._camera = library.Picamera2(o.camera_index)
            self._start()
        except DriverError:
            self._close()
            raise
        except Exception as error:  # libcamera's own kinds of error are not to be named without it
            self._close()
            raise DriverError(
                f"{self.name}: the camera cannot be started ({error}); "
                "end other programs that use it, and look at its cable"
            ) from error
        return self

    def __exit__(self, *_: object) -> None:
        self._close()

    def _library(self) -> Any:
        try:
            library = import_module("picamera2")
        except ImportError as error:
            raise DriverError(f"{self.name}: picamera2 cannot be loaded ({error}); {INSTALL}") from error
        there = library.Picamera2.global_camera_info()
        if self._options.camera_index >= len(there):
            models = ", ".join(str(one.get("Model", "unknown")) for one in there) or "none"
            raise DriverError(
                f"{self.name}: asked for camera {self._options.camera_index}, found {models}; "
                "look at the ribbon cable at both ends with the power off, or change camera_index"
            )
        return library

    def _start(self) -> None:
        o, camera = self._options, self._camera
        asked = {"size": (o.width_px, o.height_px), "format": "RGB888"}  # libcamera's name for B, G, R in memory
        camera.configure(
            camera.create_video_configuration(
                main=asked, buffer_count=BUFFERS_COUNT, queue=False, controls=o.controls(), display=None, encode=None
            )
        )
        granted = camera.camera_configuration()
        size, layout = tuple(granted["main"]["size"]), granted["main"]["format"]
        if (size, layout) != ((o.width_px, o.height_px), "RGB888"):
            raise DriverError(
                f"{self.name}: asked for pictures of {o.width_px} x {o.height_px}, "
                f"the camera gives {size[0]} x {size[1]} {layout}; ask for a size that it has"
            )
        self._line_ns = self._line_time_ns(granted)
        camera.pre_callback = self._hold
        camera.start()

    def _line_time_ns(self, granted: Any) -> int:
        if self._options.line_ns is not None:
            return self._options.line_ns
        mode = (granted.get("sensor") or {}).get("output_size") or granted["main"]["size"]
        return line_ns(str(self._camera.camera_properties.get("Model", "")), int(mode[0])) or 0

    def _hold(self, request: Any) -> None:
        """Called in libcamera's thread. With too many held already the picture is lost, which its number will show."""
        with self._arrived:
            if len(self._held) < HELD_COUNT:
                request.acquire()
                self._held.append(request)
                self._arrived.notify_all()

    def _close(self) -> None:
        camera, self._camera = self._camera, None
        if camera is not None:
            self._drop()
            camera.stop()
            self._drop()
            camera.close()

    def _drop(self) -> None:
        """Give back the pictures of before."""
        with self._arrived:
            while self._held:
                self._held.popleft().release()

    def _take(self) -> Shot | None:
        with self._arrived:
            if not self._held:
                self._arrived.wait(WAIT_S)
            request = self._held.popleft() if self._held else None
        if request is None:
            return None
        try:
            said = request.get_metadata()
            image = np.array(request.make_array("main"), np.uint8, order="C")
        finally:
            request.release()
        return Shot(int(said["SensorTimestamp"]), int(said.get("ExposureTime", 0)) * 1000, image, said)

    def _opened(self) -> Any:
        if self._camera is None:
            raise DriverError(f"{self.name}: the camera is not open; use it inside `with`")
        return self._camera

    def self_test(self) -> list[Finding]:
        """Settings, stamps and rate as they are over about a second."""
        self._opened()
        self._drop()
        shots: list[Shot] = []
        begun_ns = time.monotonic_ns()
        while time.monotonic_ns() - begun_ns < S_NS:
            if (shot := self._take()) is not None:
                shots.append(shot)
        ends_ns = time.monotonic_ns()
        return findings(
            self._options, name=self.name, line_ns=self._line_ns, said=[shot.said for shot in shots],
            span_ns=(begun_ns, ends_ns), asleep_ns=asleep_ns(),
        )  # fmt: skip

    def records(self, stop: Stop) -> Iterator[Said]:
        """Every picture from now on, until `stop`, or until none comes any more."""
        self._opened()
        self._drop()
        begun_ns = seen_ns = time.monotonic_ns()
        gaps = Gaps(self._options.period_ns)
        flow = Flow(self.name, begun_ns=begun_ns, gaps=gaps)
        clock = _Clock(begun_ns)
        yield from flow.begin()
        while not stop.is_set():
            asked_ns = time.monotonic_ns()
            shot = self._take()
            now_ns = time.monotonic_ns()
            if shot is None:
                yield from flow.waited(since_ns=asked_ns)
                if now_ns - seen_ns > max(NONE_FOR_NS, NONE_FOR_PERIODS * gaps.nominal_ns):
                    yield from flow.fault(
                        f"no picture came for {(now_ns - seen_ns) / S_NS:.0f} s",
                        "switch off, look at the ribbon cable at both ends, and begin anew",
                        since_ns=seen_ns, lasting=True,
                    )  # fmt: skip
                    return
                continue
            seen_ns = now_ns
            yield from self._picture(flow, clock, shot, now_ns)

    def _picture(self, flow: Flow, clock: _Clock, shot: Shot, now_ns: int) -> Iterator[Said]:
        if not clock.is_known:
            why = clock.learn(shot.sensor_ns, now_ns)
            if clock.is_known and clock.by_arrival:
                yield from flow.arrival_counts(why)
            elif why:
                yield from flow.fault(why, "nothing; times hold, and a restart makes the clocks agree")
        if not clock.is_known:
            return
        t_ns = now_ns if clock.by_arrival else shot.sensor_ns - clock.ahead_ns - shot.exposure_ns
        if t_ns <= clock.begun_ns:
            return  # its exposure had begun before us
        if t_ns > now_ns:
            flow.note(AHEAD, t_ns=now_ns)
            yield from flow.tell(now_ns)
            return
        quality = self._options.jpeg_quality_percent
        packed = simplejpeg.encode_jpeg(shot.image, quality=quality, colorspace="BGR", colorsubsampling="420")
        shot.image.setflags(write=False)
        taken = Taken(t_ns, shot.sensor_ns, shot.image, packed, shot.exposure_ns, self._line_ns)
        yield from flow.picture(taken, now_ns=now_ns)


def asleep_ns() -> int:
    """By how much CLOCK_BOOTTIME is ahead of CLOCK_MONOTONIC: the time that the computer has slept."""
    before_ns = time.monotonic_ns()
    boot_ns = time.clock_gettime_ns(time.CLOCK_BOOTTIME)
    return boot_ns - (before_ns + time.monotonic_ns()) // 2


class _Clock:
    """Whose clock the stamps are of."""

    def __init__(self, begun_ns: int) -> None:
        self.begun_ns = begun_ns
        self._asleep_ns = asleep_ns()
        self._as_they_are = StampClock(begun_ns)
        self.is_known = self.by_arrival = False
        self.ahead_ns = 0

    def learn(self, sensor_ns: int, now_ns: int) -> str:
        """Judge one stamp; what there is to be said of it, empty if all is well or not known yet."""
        judged = self._as_they_are.judge(sensor_ns, arrived_ns=now_ns)
        if judged == "stale":
            return ""
        self.is_known = True
        if judged == "ours":
            return ""
        if self._asleep_ns > CLOCKS_ALIKE_NS and self.begun_ns < sensor_ns - self._asleep_ns <= now_ns:
            self.ahead_ns = self._asleep_ns
            slept_s = self._asleep_ns / S_NS
            return f"the computer has slept for {slept_s:.3f} s, and libcamera's stamps count it; it was taken off"
        self.by_arrival = True
        apart_s = (sensor_ns - now_ns) / S_NS
        return f"libcamera stamps pictures by another clock ({apart_s:+.3f} s from this computer's)"
