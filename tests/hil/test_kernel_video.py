"""What the kernel and OpenCV do with frames, before any code of ours: the ground that the camera driver stands on."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import cv2
import numpy as np
import pytest

from logger.drivers.frame_stamps import Gaps, ns_of_ms
from tests.hil.video import Loopback, Vivid

pytestmark = pytest.mark.hil

FRAMES_COUNT = 40


def picture(number: int) -> bytes:
    """A JPEG that looks like no other: its number as eight grey squares."""
    image = np.full((120, 160, 3), 90, np.uint8)
    for bit in range(8):
        image[20:40, 20 * bit : 20 * bit + 16] = 220 if number >> bit & 1 else 30
    return cv2.imencode(".jpg", image)[1].tobytes()


@contextmanager
def opened(path: str) -> Iterator[cv2.VideoCapture]:
    camera = cv2.VideoCapture(path, cv2.CAP_V4L2)
    assert camera.isOpened()
    try:
        yield camera
    finally:
        camera.release()


def has_picture(camera: cv2.VideoCapture, patience_s: float = 10.0) -> bool:
    """Take the next picture out of the queue; False where none comes."""
    ends_s, pause = time.monotonic() + patience_s, threading.Event()
    while not camera.grab():
        if time.monotonic() > ends_s:
            return False
        pause.wait(0.005)
    return True


def test_frames_come_through_opencv_as_they_were_written_and_stamped_while_written(loopback: Loopback) -> None:
    loopback.begin_writing(picture(255), width_px=160, height_px=120)
    with opened(loopback.path) as camera:
        assert int(camera.get(cv2.CAP_PROP_FOURCC)) == cv2.VideoWriter.fourcc(*"MJPG")
        camera.set(cv2.CAP_PROP_CONVERT_RGB, 0)
        for number in range(FRAMES_COUNT):
            before_ns, after_ns = loopback.write(picture(number))
            assert has_picture(camera)
            stamp_ns = round(camera.get(cv2.CAP_PROP_POS_MSEC) * 1e6)
            got, raw = camera.retrieve()
            assert got
            assert raw.tobytes() == picture(number)
            assert before_ns - 1000 <= stamp_ns <= after_ns, "the stamp has whole microseconds, cut off"


def test_dropped_buffers_of_a_camera_show_in_the_stamps_of_the_others(vivid: Vivid) -> None:
    """OpenCV does not hand out the kernel's running number of a picture, so that the gaps are all there is."""
    vivid.set("Percentage of Dropped Buffers", 10)
    vivid.set("Timestamp Source", 1)
    with opened(vivid.path) as camera:
        period_ns = round(1e9 / camera.get(cv2.CAP_PROP_FPS))
        gaps, stamps_ns = Gaps(period_ns), []
        for _ in range(90):
            assert has_picture(camera)
            stamps_ns.append(ns_of_ms(camera.get(cv2.CAP_PROP_POS_MSEC)))
        missing_count = sum(gaps.missing_count(stamp_ns) for stamp_ns in stamps_ns)
    spanned_count = round((stamps_ns[-1] - stamps_ns[0]) / period_ns) + 1
    print(f"\n{missing_count} of {spanned_count} buffers dropped")
    assert missing_count > 0
    assert missing_count == pytest.approx(spanned_count - len(stamps_ns), abs=3)


def test_a_camera_that_is_pulled_out_gives_nothing_more_and_still_calls_itself_open(vivid: Vivid) -> None:
    with opened(vivid.path) as camera:
        assert has_picture(camera)
        vivid.set("Disconnect", 1)
        assert not has_picture(camera, 1.0)
        assert camera.isOpened(), "so being open says nothing"
