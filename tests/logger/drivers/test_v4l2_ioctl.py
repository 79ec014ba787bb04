"""What the kernel is asked by number, against the kernel's own header."""

from __future__ import annotations

import fcntl
import os
import shutil
import struct
import subprocess
from pathlib import Path

import pytest

from logger.drivers import v4l2_ioctl as v4l2

HEADER = Path("/usr/include/linux/videodev2.h")
NUMBERS = {
    "VIDIOC_QUERYCAP": v4l2.QUERYCAP,
    "VIDIOC_G_PARM": v4l2.G_PARM,
    "VIDIOC_QUERYBUF": v4l2.QUERYBUF,
    "VIDIOC_G_CTRL": v4l2.G_CTRL,
    "VIDIOC_S_CTRL": v4l2.S_CTRL,
    "sizeof(struct v4l2_capability)": v4l2.CAPABILITY_BYTES,
    "sizeof(struct v4l2_streamparm)": v4l2.PARM_BYTES,
    "sizeof(struct v4l2_buffer)": v4l2.BUFFER_BYTES,
    "sizeof(struct v4l2_control)": v4l2.CONTROL_BYTES,
    "offsetof(struct v4l2_capability, card)": 16,
    "offsetof(struct v4l2_capability, bus_info)": 48,
    "offsetof(struct v4l2_buffer, flags)": v4l2.FLAGS_INDEX,
    "offsetof(struct v4l2_buffer, memory)": v4l2.MEMORY_INDEX,
    "offsetof(struct v4l2_buffer, timestamp)": v4l2.TIME_INDEX,
    "offsetof(struct v4l2_buffer, sequence)": v4l2.SEQUENCE_INDEX,
    "VIDEO_MAX_FRAME": v4l2.MOST_BUFFERS,
    "offsetof(struct v4l2_streamparm, parm.capture.timeperframe)": v4l2.TIME_PER_FRAME_INDEX,
    "V4L2_BUF_TYPE_VIDEO_CAPTURE": v4l2.CAPTURE,
    "V4L2_MEMORY_MMAP": v4l2.MMAP,
    "V4L2_CID_EXPOSURE_AUTO_PRIORITY": v4l2.EXPOSURE_DYNAMIC_FRAMERATE,
    "V4L2_BUF_FLAG_TIMESTAMP_MASK": v4l2.CLOCK_MASK,
    "V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC": v4l2.CLOCK_MONOTONIC,
    "V4L2_BUF_FLAG_TIMESTAMP_COPY": v4l2.CLOCK_COPY,
    "V4L2_BUF_FLAG_TSTAMP_SRC_MASK": v4l2.MOMENT_MASK,
    "V4L2_BUF_FLAG_TSTAMP_SRC_SOE": v4l2.MOMENT_START,
}


@pytest.mark.skipif(
    shutil.which("cc") is None or not HEADER.is_file(), reason="needs a C compiler and the kernel's headers"
)
def test_every_number_and_layout_is_that_of_the_kernels_header(tmp_path: Path) -> None:
    prints = "\n".join(f'printf("%lu\\n", (unsigned long)({name}));' for name in NUMBERS)
    source = tmp_path / "numbers.c"
    source.write_text(
        "#include <stddef.h>\n#include <stdio.h>\n#include <linux/videodev2.h>\n"
        f"int main(void) {{ {prints} return 0; }}\n"
    )
    subprocess.run(["cc", "-o", tmp_path / "numbers", source], check=True)
    said = subprocess.run([tmp_path / "numbers"], capture_output=True, text=True, check=True).stdout.split()
    assert dict(zip(NUMBERS, map(int, said), strict=True)) == NUMBERS


def test_the_flags_of_a_buffer_say_which_clock_and_which_moment() -> None:
    assert v4l2.meaning(0x2000 | 0x10000 | 0x1) == ("monotonic", "start")  # as uvcvideo sets them
    assert v4l2.meaning(0x4000) == ("copied", "end")
    assert v4l2.meaning(0x0) == ("unknown", "end")


def test_a_handle_of_our_own_is_found_by_its_device_and_is_a_second_one() -> None:
    with Path("/dev/zero").open("rb") as ours, v4l2.handle_of("/dev/zero") as found:
        assert found is not None
        assert found != ours.fileno()
        assert os.fstat(found).st_rdev == os.stat("/dev/zero").st_rdev
    with pytest.raises(OSError, match="Bad file descriptor"):
        fcntl.fcntl(found, fcntl.F_GETFD)


class Buffers:
    """The kernel's words on some buffers, by their stamps in µs; struct v4l2_buffer, 64 bit."""

    def __init__(self, *stamps_us: int) -> None:
        self._stamps_us, self.asked = stamps_us, list[int]()

    def ioctl(self, _: int, request: int, answer: bytearray) -> int:
        assert request == 0xC0585609
        index = int.from_bytes(answer[:4], "little")
        self.asked.append(index)
        if index >= len(self._stamps_us):
            raise OSError(22, "Invalid argument")
        answer[24:40] = struct.pack("=qq", *divmod(self._stamps_us[index], 1_000_000))
        answer[56:60] = struct.pack("=I", 100 + index)
        return 0


@pytest.mark.parametrize("after", [None, *range(4)])
@pytest.mark.parametrize("index", range(4))
def test_a_picture_is_found_by_its_stamp_wherever_it_lies(
    index: int, after: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    buffers = Buffers(7_000_001, 7_033_334, 6_966_668, 7_000_000)
    monkeypatch.setattr(fcntl, "ioctl", buffers.ioctl)
    stamp_ns = (7_000_001, 7_033_334, 6_966_668, 7_000_000)[index] * 1000
    before = None if after is None else v4l2.Place(after, 0)
    assert v4l2.place_of(9, stamp_ns, after=before) == v4l2.Place(index, 100 + index)
    assert after is None or (after + 1) % 4 != index or len(buffers.asked) <= 2


def test_a_picture_that_lies_nowhere_is_not_found(monkeypatch: pytest.MonkeyPatch) -> None:
    for buffers in (Buffers(), Buffers(5, 6, 7), Buffers(0, 0, 0), Buffers(*range(1, 33))):
        monkeypatch.setattr(fcntl, "ioctl", buffers.ioctl)
        assert v4l2.place_of(9, 0) is None
        assert v4l2.place_of(9, 900_000, after=v4l2.Place(1, 0)) is None
        assert len(buffers.asked) < 90


def test_a_buffer_with_a_later_picture_is_overwritten(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fcntl, "ioctl", Buffers(5_000_000, 0, 6_000_000).ioctl)
    assert not v4l2.is_overwritten(9, v4l2.Place(0, 0), 5_000_000_000)
    assert not v4l2.is_overwritten(9, v4l2.Place(1, 0), 5_000_000_000), "given back, and its words are cleared"
    assert v4l2.is_overwritten(9, v4l2.Place(2, 0), 5_000_000_000)
    assert not v4l2.is_overwritten(9, v4l2.Place(3, 0), 5_000_000_000), "nothing is known of it"


def test_a_device_that_nobody_here_has_open_has_no_handle(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for device in ("/dev/full", str(tmp_path / "file"), str(tmp_path / "nothing")):
        with v4l2.handle_of(device) as found:
            assert found is None


def test_a_device_that_is_no_camera_says_nothing() -> None:
    with Path("/dev/zero").open("r+b", buffering=0) as zero:
        assert v4l2.facts(zero.fileno()) == v4l2.Facts()
        assert v4l2.control(zero.fileno(), v4l2.EXPOSURE_DYNAMIC_FRAMERATE) is None
        assert not v4l2.set_control(zero.fileno(), v4l2.EXPOSURE_DYNAMIC_FRAMERATE, 0)
