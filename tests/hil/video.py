"""Video devices of the real kernel: one gives out the JPEGs that a test puts in, one makes its own pictures."""

from __future__ import annotations

import fcntl
import os
import struct
import subprocess
import time
from pathlib import Path
from types import TracebackType
from typing import Self

# linux/videodev2.h, 64 bit
VIDIOC_S_FMT = 0xC0D05605
VIDIOC_S_CTRL = 0xC008561C
VIDIOC_QUERYCTRL = 0xC0445624
V4L2_BUF_TYPE_VIDEO_OUTPUT = 2
V4L2_FIELD_NONE = 1
V4L2_COLORSPACE_JPEG = 7
V4L2_CTRL_FLAG_NEXT_CTRL = 0x80000000


def four(word: str) -> int:
    """A pixel format's four letters as the kernel's number."""
    return int.from_bytes(word.encode(), "little")


def modprobe(*words: str) -> None:
    """Load or unload a module. AssertionError: the kernel refused."""
    done = subprocess.run(["modprobe", *words], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


class Loopback:
    """/dev/videoN whose frames the test writes; there as long as the `with` lasts."""

    def __init__(self, number: int = 40, buffers_count: int = 8) -> None:
        self.number, self._buffers_count = number, buffers_count
        self.path = f"/dev/video{number}"
        self._writer = -1

    @classmethod
    def of(cls, path: str) -> Self:
        """A device that is there already, for another program that writes to it."""
        return cls(int(path.removeprefix("/dev/video")))

    def __enter__(self) -> Self:
        modprobe(
            "v4l2loopback",
            f"video_nr={self.number}",
            f"max_buffers={self._buffers_count}",
            "card_label=tank",
            "exclusive_caps=1",
        )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.end_writing()
        modprobe("-r", "v4l2loopback")

    def begin_writing(self, first: bytes, *, width_px: int, height_px: int, pixel_format: str = "MJPG") -> None:
        """Say what is to come, and write one frame: without one nobody can open the device to read."""
        self._writer = os.open(self.path, os.O_WRONLY)
        size = width_px * height_px * 2
        pixels = struct.pack(
            "8I", width_px, height_px, four(pixel_format), V4L2_FIELD_NONE, 0, size, V4L2_COLORSPACE_JPEG, 0
        )
        asked = bytearray(struct.pack("I4x", V4L2_BUF_TYPE_VIDEO_OUTPUT) + pixels.ljust(200, b"\0"))
        fcntl.ioctl(self._writer, VIDIOC_S_FMT, asked, True)
        granted = struct.unpack_from("3I", asked, 8)
        assert granted == (width_px, height_px, four(pixel_format))
        self.write(first)

    def write(self, frame: bytes) -> tuple[int, int]:
        """Put one frame in; (before_ns, after_ns) of CLOCK_MONOTONIC, between which the kernel stamped it."""
        before_ns = time.monotonic_ns()
        assert os.write(self._writer, frame) == len(frame)
        return before_ns, time.monotonic_ns()

    def end_writing(self) -> None:
        """Nobody writes any more; the device stays."""
        if self._writer >= 0:
            os.close(self._writer)
            self._writer = -1


class Vivid:
    """The kernel's own test camera: raw pictures only, and faults on demand."""

    def __init__(self, number: int = 50) -> None:
        self.number, self.path = number, f"/dev/video{number}"

    def __enter__(self) -> Self:
        modprobe("vivid", "n_devs=1", "node_types=0x1", f"vid_cap_nr={self.number}", "num_inputs=1", "input_types=0")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        modprobe("-r", "vivid")

    def set(self, control: str, value: int) -> None:
        """Set the control of that name."""
        device = os.open(self.path, os.O_RDWR)
        try:
            fcntl.ioctl(device, VIDIOC_S_CTRL, struct.pack("Ii", self._controls(device)[control], value))
        finally:
            os.close(device)

    def _controls(self, device: int) -> dict[str, int]:
        found: dict[str, int] = {}
        number = V4L2_CTRL_FLAG_NEXT_CTRL
        while True:
            asked = bytearray(struct.pack("I", number).ljust(68, b"\0"))
            try:
                fcntl.ioctl(device, VIDIOC_QUERYCTRL, asked, True)
            except OSError:
                return found
            (number,) = struct.unpack_from("I", asked)
            found[asked[8:40].split(b"\0")[0].decode()] = number
            number |= V4L2_CTRL_FLAG_NEXT_CTRL

    @property
    def is_there(self) -> bool:
        """Whether the device file exists."""
        return Path(self.path).exists()
