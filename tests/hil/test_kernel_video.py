"""What the kernel and OpenCV do with frames, before any code of ours: the ground that the camera driver stands on."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import cv2
import numpy as np
import pytest

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


def test_frames_come_through_opencv_as_they_were_written_and_stamped_while_written(loopback: Loopback) -> None:
    loopback.begin_writing(picture(255), width_px=160, height_px=120)
    with opened(loopback.path) as camera:
        assert int(camera.get(cv2.CAP_PROP_FOURCC)) == cv2.VideoWriter.fourcc(*"MJPG")
        camera.set(cv2.CAP_PROP_CONVERT_RGB, 0)
        for number in range(FRAMES_COUNT):
            before_ns, after_ns = loopback.write(picture(number))
            assert camera.grab()
            stamp_ns = round(camera.get(cv2.CAP_PROP_POS_MSEC) * 1e6)
            got, raw = camera.retrieve()
            assert got
            assert raw.tobytes() == picture(number)
            assert before_ns - 1000 <= stamp_ns <= after_ns, "the stamp has whole microseconds, cut off"


def test_a_camera_that_is_pulled_out_ends_reading_at_once(vivid: Vivid) -> None:
    with opened(vivid.path) as camera:
        assert camera.read()[0]
        vivid.set("Disconnect", 1)
        assert not camera.read()[0]
        assert camera.isOpened(), "so being open says nothing"
