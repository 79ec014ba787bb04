"""One opening of a webcam: pictures without long waits, and what is said when there are none."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from logger.drivers.v4l2_settings import V4l2Options
from logger.drivers.v4l2_stream import WAIT_NS, GoneError, Stream
from logger.errors import DriverError
from tests.logger.drivers.fake_capture import BUFFERS, HEIGHT, MS, WIDTH, Webcam, picture


def opened(monkeypatch: pytest.MonkeyPatch, webcam: Webcam, folder: Path) -> Stream:
    webcam.open_by(monkeypatch)
    (folder / "video0").touch()
    return Stream.open(V4l2Options(device=str(folder / "video0"), width_px=WIDTH, height_px=HEIGHT))


def test_a_picture_comes_with_its_stamp_to_the_microsecond(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    webcam = Webcam()
    stream = opened(monkeypatch, webcam, tmp_path)
    got = [packet for _ in range(20) if (packet := stream.take()) is not None]
    assert len(got) > 9
    for packet in got:
        number = round(packet.stamp_ns / webcam.period_ns)
        assert packet.stamp_ns == number * webcam.period_ns // 1000 * 1000
        assert packet.data == picture(number)


def test_it_never_waits_longer_than_it_was_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    webcam = Webcam(sends=False)
    stream = opened(monkeypatch, webcam, tmp_path)
    for wait_ns in (WAIT_NS, WAIT_NS, MS):
        before_ns = webcam.bench.clock()
        assert stream.take(wait_ns) is None
        assert webcam.bench.clock() - before_ns <= wait_ns + 1000


def test_what_waits_in_the_queue_is_thrown_away(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    webcam = Webcam()
    stream = opened(monkeypatch, webcam, tmp_path)
    stream.take()
    webcam.bench.wait(10.0)
    stream.drain()
    before_ns = webcam.bench.clock()
    packet = stream.take()
    assert packet is not None
    assert packet.stamp_ns > before_ns - webcam.period_ns
    assert BUFFERS == 4, "OpenCV's own number; it allows up to ten"


def test_an_unplugged_camera_has_gone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    webcam = Webcam()
    stream = opened(monkeypatch, webcam, tmp_path)
    while stream.take() is None:
        pass
    webcam.away_ns = [(webcam.bench.clock() + 10 * MS, 2**62)]
    with pytest.raises(GoneError, match="does not answer") as caught:
        stream.take()
    assert caught.value.cure.startswith("plug the camera in again")


def test_a_camera_that_hangs_up_without_an_error_has_gone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    stream = opened(monkeypatch, Webcam(), tmp_path)
    stream.take()
    monkeypatch.setattr(cv2.VideoCapture, "waitAny", lambda *_, **__: (True, []))
    with pytest.raises(GoneError, match="hung up"):
        stream.take()


def test_a_packet_without_anything_in_it_is_no_crash(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    stream = opened(monkeypatch, Webcam(), tmp_path)
    answers: list[Any] = [(True, np.zeros((1, 0), np.uint8)), (False, None)]
    monkeypatch.setattr(cv2.VideoCapture, "retrieve", lambda _: answers.pop())
    assert [packet.data for _ in range(6) if answers and (packet := stream.take()) is not None] == [b"", b""]


def test_a_camera_that_is_not_granted_is_given_back(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    webcam = Webcam(formats=[("YUYV", 64, 48)])
    with pytest.raises(DriverError, match="asked for pictures"):
        opened(monkeypatch, webcam, tmp_path)
    assert webcam.released_count == webcam.opened_count == 1


def test_no_permission_is_told_with_the_group(monkeypatch: pytest.MonkeyPatch) -> None:
    Webcam(is_busy=True).open_by(monkeypatch)

    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")  # as the kernel does for all but root

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(DriverError, match="no permission to use it; add this user to the group video"):
        Stream.open(V4l2Options(device="/dev/null"))


def test_the_real_opencv_says_that_there_is_no_such_camera(tmp_path: Path) -> None:
    """And it can wait for a camera in parts of a second: what this driver rests upon."""
    with pytest.raises(DriverError, match=r"video9: there is no such camera; plug it in"):
        Stream.open(V4l2Options(device=str(tmp_path / "video9")))
    assert os.environ["OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT"] == "0"
    assert "waitAny(streams[, timeoutNs])" in str(cv2.VideoCapture.waitAny.__doc__)
