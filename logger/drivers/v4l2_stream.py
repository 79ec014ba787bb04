"""One opening of a V4L2 camera: its compressed pictures, each with its kernel stamp, without ever waiting for long.

OpenCV's own reading waits up to ten seconds for a picture, in steps of whole seconds, and hides its handle. So it is
told not to wait at all, and `VideoCapture.waitAny` waits: in milliseconds, and it says at once when the camera has
gone. No thread is needed for that.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

import cv2

from logger.drivers import v4l2_ioctl
from logger.drivers.frame_stamps import STALE_MOST_COUNT, ns_of_ms
from logger.drivers.v4l2_ioctl import Facts, Place
from logger.drivers.v4l2_settings import Granted, V4l2Options, settle
from logger.errors import DriverError

WAIT_NS = 50_000_000
"""The longest that `take` waits, and so how long a caller may be deaf."""
SHORTEST_WAIT_NS = 1
AT_ONCE_NS = 1_000_000


NO_PICTURES_CURE = (
    "give the camera a port of its own, without a hub, and a short cable; end other programs that use it; "
    "or ask for smaller pictures or fewer a second"
)
GONE_CURE = "plug the camera in again; pictures go on then"


class GoneError(Exception):
    """The camera sends nothing any more: what was found, and the cure."""

    def __init__(self, what: str, cure: str) -> None:
        super().__init__(what)
        self.cure = cure


@dataclass(frozen=True, slots=True)
class Packet:
    """A picture as the camera sent it."""

    stamp_ns: int
    """As the kernel stamped it, by whatever clock."""
    data: bytes
    has_waited: bool = False
    """For us; else we have waited for it."""
    number: int | None = None
    """The driver's running number, which counts lost pictures too; None if it is not told."""
    is_overwritten: bool = False
    """The next one may have got into it while it was read."""


class Stream:
    """An open camera with all its settings."""

    def __init__(
        self, capture: Any, granted: Granted, facts: Facts, *, handle: int | None, clock: Callable[[], int]
    ) -> None:
        """Take over an opened and settled cv2.VideoCapture, and a second number of its handle."""
        self._capture, self._handle, self._clock = capture, handle, clock
        self.granted, self.facts = granted, facts
        self._place: Place | None = None
        self._is_begun = self._has_sent = False

    @classmethod
    def open(cls, options: V4l2Options, *, clock: Callable[[], int] = time.monotonic_ns) -> Self:
        """Open the camera, set it up and compare.

        Raises:
            DriverError: there is none, it cannot be had, or it does not do what it is asked.
        """
        _never_wait()
        capture = cv2.VideoCapture(options.device, cv2.CAP_V4L2)
        try:
            if not capture.isOpened():
                raise DriverError(f"{options.device}: {_why_not(options.device)}")
            with v4l2_ioctl.handle_of(options.device) as handle:
                if handle is not None:  # or it would take fewer pictures when a boat's shadow makes it dark
                    v4l2_ioctl.set_control(handle, v4l2_ioctl.EXPOSURE_DYNAMIC_FRAMERATE, 0)
            granted = settle(capture, options)
            handle = v4l2_ioctl.find_handle(options.device)
            facts = v4l2_ioctl.facts(handle) if handle is not None else Facts()
        except BaseException:
            capture.release()
            raise
        return cls(capture, granted, facts, handle=handle, clock=clock)

    def take(self, wait_ns: int = WAIT_NS) -> Packet | None:
        """The next picture out of the queue; None if none came within `wait_ns`.

        Raises:
            GoneError: the camera was unplugged, or its driver has given up.
        """
        if not self._is_begun:
            self._is_begun = True
            if self._capture.grab():  # makes the camera begin; as a rule there is no picture yet
                return self._retrieved(True)
        begun_ns = self._clock()
        try:
            is_awake, ready = cv2.VideoCapture.waitAny([self._capture], timeoutNs=wait_ns)
        except cv2.error as error:
            if not self._has_sent:
                raise GoneError("the camera does not begin to send pictures", NO_PICTURES_CURE) from error
            raise GoneError("the camera does not answer", GONE_CURE) from error
        if is_awake and not len(ready):
            raise GoneError("the camera hung up", GONE_CURE)
        return self._retrieved(self._clock() - begun_ns < AT_ONCE_NS) if is_awake else None

    def _retrieved(self, has_waited: bool) -> Packet:
        self._has_sent = True
        stamp_ns = ns_of_ms(self._capture.get(cv2.CAP_PROP_POS_MSEC))
        handle = self._handle
        place = None if handle is None else v4l2_ioctl.place_of(handle, stamp_ns, after=self._place)
        is_there, found = self._capture.retrieve()
        data = found.tobytes() if is_there and found is not None else b""
        if handle is None or place is None:
            # where pictures were found before, this one's buffer holds another by now
            return Packet(stamp_ns, data, has_waited, is_overwritten=self._place is not None)
        self._place = place
        # OpenCV gives the buffer back before it copies it, and a computer that stands still just then is too late
        is_lost = v4l2_ioctl.is_overwritten(handle, place, stamp_ns)
        return Packet(stamp_ns, data, has_waited, place.number, is_overwritten=is_lost)

    def drain(self) -> None:
        """Throw away what waits in the queue: pictures of before. GoneError as `take`."""
        for _ in range(STALE_MOST_COUNT):
            if self.take(SHORTEST_WAIT_NS) is None:
                return

    def close(self) -> None:
        """Give the camera back."""
        if self._handle is not None:  # before OpenCV's, or the camera would stay in use
            os.close(self._handle)
            self._handle = None
        self._capture.release()


def _never_wait() -> None:
    """OpenCV reads this once, when it would wait for the first time; it can be told by the environment only."""
    os.environ["OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT"] = "0"
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)  # trouble is told once, by us


def _why_not(device: str) -> str:
    """Why OpenCV may have failed to open the device, and the cure."""
    try:
        os.close(os.open(device, os.O_RDWR | os.O_NONBLOCK))
    except FileNotFoundError:
        there = sorted(str(path) for path in (*Path("/dev/v4l/by-id").glob("*"), *Path("/dev").glob("video*")))
        return f"there is no such camera; plug it in, or name one of these: {', '.join(there) or 'none is plugged in'}"
    except PermissionError:
        return "no permission to use it; add this user to the group video and log in again"
    except OSError as error:
        if error.errno == errno.EBUSY:
            return "it is in use by another program; end that one"
        return f"it cannot be opened ({error.strerror}); unplug it and plug it in again"
    return "it gives no pictures, or is in use by another program; end that one, or name a device that takes pictures"
