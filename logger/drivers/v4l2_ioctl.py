"""What the kernel tells of a video device and OpenCV does not: who drives it, and what its stamps mean.

Numbers and layouts are the kernel's promise to programs (linux/videodev2.h, "V4L2 API" of the kernel's documentation);
a test compares them with that header where a C compiler is present. Everything here may be asked of an open device at
any time and changes nothing, but for `set_control`.
"""

from __future__ import annotations

import fcntl
import os
import stat
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias

QUERYCAP, G_PARM, QUERYBUF, G_CTRL, S_CTRL = 0x80685600, 0xC0CC5615, 0xC0585609, 0xC008561B, 0xC008561C
CAPABILITY_BYTES, PARM_BYTES, BUFFER_BYTES, CONTROL_BYTES = 104, 204, 88, 8
FLAGS_INDEX, TIME_INDEX, SEQUENCE_INDEX, MEMORY_INDEX = 12, 24, 56, 60
TIME_PER_FRAME_INDEX = 12
MOST_BUFFERS = 32
CAPTURE, MMAP = 1, 1
EXPOSURE_DYNAMIC_FRAMERATE = 0x009A0903
"""True: in bad light the camera may take fewer pictures than it was asked for."""
CLOCK_MASK, CLOCK_MONOTONIC, CLOCK_COPY = 0xE000, 0x2000, 0x4000
MOMENT_MASK, MOMENT_START = 0x70000, 0x10000

Clock: TypeAlias = Literal["monotonic", "copied", "unknown", ""]
"""As the driver says; copied: from whatever program feeds the device; empty: it could not be asked."""
Moment: TypeAlias = Literal["start", "end", ""]
"""What of a picture is stamped, as the driver says: its first data or exposure · its end."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What a video device says of itself; empty or None where it says nothing."""

    driver: str = ""
    card: str = ""
    rate_hz: float | None = None
    """Pictures a second, as granted."""
    clock: Clock = ""
    moment: Moment = ""


@contextmanager
def handle_of(device: str) -> Iterator[int | None]:
    """As `find_handle`, and closes it in the end."""
    found = find_handle(device)
    try:
        yield found
    finally:
        if found is not None:
            os.close(found)


def find_handle(device: str) -> int | None:
    """A second number of our own open handle of the device, which OpenCV keeps to itself; None if there is none.

    To be closed by whoever asked. A second opening would not do: some drivers tell of their buffers only to whoever has
    the stream.
    """
    try:
        wanted = os.stat(device)
        numbers = sorted(int(path.name) for path in Path("/proc/self/fd").iterdir())
    except OSError:
        return None
    if not stat.S_ISCHR(wanted.st_mode):
        return None
    for number in numbers:
        try:
            found = os.fstat(number)
            if stat.S_ISCHR(found.st_mode) and found.st_rdev == wanted.st_rdev:
                return os.dup(number)
        except OSError:  # the list's own handle is closed by now
            continue
    return None


def facts(handle: int) -> Facts:
    """What the device of this open handle says of itself."""
    capability = asked(handle, QUERYCAP, bytearray(CAPABILITY_BYTES))
    driver, card = ("", "") if capability is None else (_text(capability[:16]), _text(capability[16:48]))
    clock, moment = _stamps(handle)
    return Facts(driver, card, _rate_hz(handle), clock, moment)


def _text(field: bytes) -> str:
    return field.split(b"\0", 1)[0].decode(errors="replace").strip()


def _rate_hz(handle: int) -> float | None:
    parm = bytearray(PARM_BYTES)
    struct.pack_into("=I", parm, 0, CAPTURE)
    if asked(handle, G_PARM, parm) is None:
        return None
    numerator, denominator = struct.unpack_from("=II", parm, TIME_PER_FRAME_INDEX)
    return denominator / numerator if numerator and denominator else None


def _stamps(handle: int) -> tuple[Clock, Moment]:
    """From the flags of the first buffer; only while there are buffers."""
    buffer = _buffer(handle, 0)
    return ("", "") if buffer is None else meaning(struct.unpack_from("=I", buffer, FLAGS_INDEX)[0])


def _buffer(handle: int, index: int) -> bytes | None:
    """The kernel's words on a buffer; None if there is none such, or where a long has not 64 bits."""
    buffer = bytearray(BUFFER_BYTES)
    struct.pack_into("=II", buffer, 0, index, CAPTURE)
    struct.pack_into("=I", buffer, MEMORY_INDEX, MMAP)
    return asked(handle, QUERYBUF, buffer) if struct.calcsize("l") == 8 else None


@dataclass(frozen=True, slots=True)
class Place:
    """Where a picture lies."""

    index: int
    """Of its buffer."""
    number: int
    """Running number of the picture, which counts those that were lost too (V4L2 API, struct v4l2_buffer: "includes
    dropped or repeated frames"). It starts anew with each opening, and after 2³² pictures."""


def place_of(handle: int, stamp_ns: int, *, after: Place | None = None) -> Place | None:
    """The buffer with the picture of this stamp; None if it is not to be found.

    Args:
        handle: of the device.
        stamp_ns: of the picture; 0, which a driver without stamps gives to all, is never found.
        after: where the picture before it was: as a rule the next is in the next buffer.
    """
    index = 0 if after is None else after.index + 1
    for _ in range(MOST_BUFFERS + 1):
        buffer = _buffer(handle, index)
        if buffer is None and index == 0:
            break
        if buffer is not None and _stamp_ns(buffer) == stamp_ns != 0:
            return Place(index, struct.unpack_from("=I", buffer, SEQUENCE_INDEX)[0])
        index = 0 if buffer is None else index + 1
    return None


def is_overwritten(handle: int, place: Place, stamp_ns: int) -> bool:
    """The buffer holds another picture by now."""
    buffer = _buffer(handle, place.index)
    return buffer is not None and _stamp_ns(buffer) not in (stamp_ns, 0)


def _stamp_ns(buffer: bytes) -> int:
    seconds, micros = struct.unpack_from("=qq", buffer, TIME_INDEX)
    return int(seconds * 1_000_000 + micros) * 1000


def meaning(flags: int) -> tuple[Clock, Moment]:
    """What the flags of a buffer say of its stamp."""
    clocks: dict[int, Clock] = {CLOCK_MONOTONIC: "monotonic", CLOCK_COPY: "copied"}
    return clocks.get(flags & CLOCK_MASK, "unknown"), "start" if flags & MOMENT_MASK == MOMENT_START else "end"


def control(handle: int, number: int) -> int | None:
    """The value of a control; None if the device has no such control."""
    found = asked(handle, G_CTRL, bytearray(struct.pack("=Ii", number, 0)))
    return None if found is None else int(struct.unpack("=Ii", found)[1])


def set_control(handle: int, number: int, value: int) -> bool:
    """Set a control; False if the device has none such, or does not take this value."""
    return asked(handle, S_CTRL, bytearray(struct.pack("=Ii", number, value))) is not None


def asked(handle: int, request: int, answer: bytearray) -> bytes | None:
    """What the kernel answers to a request; None if it refuses it."""
    try:
        fcntl.ioctl(handle, request, answer)
    except OSError:
        return None
    return bytes(answer)
