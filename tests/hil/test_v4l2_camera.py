"""The camera driver on a real kernel: a rendered tank goes through v4l2loopback into V4l2Camera and the journal."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from logger.config import CameraSetup
from logger.drivers.v4l2_camera import V4l2Camera
from logger.drivers.v4l2_settings import V4l2Options
from logger.errors import DriverError
from logger.recording.folder import load
from logger.recording.journal import Journal
from logger.records import Fault, Frame
from tests.hil.film import TANK_SIZE
from tests.hil.hearing import hearing
from tests.hil.rigs import CARD, RIG, camera_file
from tests.hil.video import Loopback, Vivid
from tests.hil.world import Happened, world

pytestmark = pytest.mark.hil

RATE_HZ = 30
MINUTE_S = int(os.environ.get("BOATRUN_HIL_FILM_S", "60"))
WIDTH, HEIGHT = TANK_SIZE
OPTIONS = V4l2Options(device="/dev/video40", width_px=WIDTH, height_px=HEIGHT, rate_hz=RATE_HZ, come_back_s=20)


def camera(**changes: object) -> V4l2Camera:
    return V4l2Camera(replace(OPTIONS, **changes), name="camera")  # type: ignore[arg-type]


def reel(films: Path, count: int) -> list[tuple[int, Path]]:
    """So many pictures at 30 a second, the same few again and again."""
    pictures = sorted((films / "tank").glob("*.jpg"))
    return [(number * 1_000_000_000 // RATE_HZ, pictures[number % len(pictures)]) for number in range(count)]


def assert_are(frames: list[Frame], played: list[tuple[int, Path]], when: Happened) -> list[int]:
    """Each picture is, bit for bit, the one that was written while its stamp was made. Returns their numbers."""
    numbers = []
    latest = 0
    for frame in frames:
        # stamps are cut off to whole microseconds
        number = next(
            n for n in range(latest, len(played)) if when.frames[n][0] - 1000 <= frame.t_ns <= when.frames[n][1]
        )
        assert frame.jpeg == played[number][1].read_bytes()
        numbers.append(number)
        latest = number + 1
    return numbers


def test_a_minute_of_pictures_is_in_the_recording_bit_for_bit_and_what_is_lost_is_known(
    loopback: Loopback, films: Path, tmp_path: Path
) -> None:
    """A machine that stands still for long loses pictures, as any would; then the driver has to know how many."""
    played = reel(films, RATE_HZ * MINUTE_S)
    rig = replace(RIG, camera=CameraSetup(None, "camera.toml"))
    kept: list[tuple[int, int]] = []
    with (
        world(tmp_path, device=loopback.path, size_px=TANK_SIZE, frames=played) as it,
        Journal(tmp_path / "run-1", card=CARD, rig=rig, calibration=camera_file(*TANK_SIZE)) as journal,
        hearing(camera(), keep=journal.keep) as heard,
    ):
        heard.until_quiet(0)
        it.begin()
        when = it.played()
        heard.until_quiet(when.frames[-1][1])
        kept = [(frame.t_ns, frame.sequence) for frame in heard.records(Frame)]
        numbers = assert_are(heard.records(Frame), played, when)
    recorded = load(tmp_path / "run-1")
    assert recorded.stamps is not None
    assert recorded.stamps.t_ns.tolist() == [t_ns for t_ns, _ in kept]
    assert [frame.jpeg for frame in recorded.frames()] == [played[number][1].read_bytes() for number in numbers]
    lost = len(played) - len(numbers)
    print(f"\n{len(played)} pictures of {WIDTH} x {HEIGHT} at {RATE_HZ} a second: {lost} lost, "
          f"longest write {max(b - a for a, b in when.frames) / 1e6:.1f} ms; {[f.what for f in heard.records(Fault)]}")  # fmt: skip
    assert [sequence for _, sequence in kept] == numbers, "lost pictures are counted"
    assert lost <= len(played) // 100


def test_another_format_than_asked_for_is_refused(vivid: Vivid) -> None:
    """vivid has no compressed pictures; OpenCV says yes when asked for them."""
    with pytest.raises(DriverError, match="asked for pictures of 640 x 480 MJPG, the camera gives 640 x 480"):
        camera(device=vivid.path).__enter__()


def test_another_size_than_asked_for_is_refused(loopback: Loopback, films: Path) -> None:
    loopback.begin_writing((films / "tank/000.jpg").read_bytes(), width_px=WIDTH, height_px=HEIGHT)
    with pytest.raises(DriverError, match="asked for pictures of 1280 x 720 MJPG, the camera gives 640 x 480 MJPG"):
        camera(width_px=1280, height_px=720).__enter__()


def test_without_a_camera_it_says_so() -> None:
    with pytest.raises(DriverError, match="camera: /dev/video40: no such camera"):
        camera().__enter__()


def test_a_camera_that_sends_nothing_is_told(loopback: Loopback, films: Path) -> None:
    loopback.begin_writing((films / "tank/000.jpg").read_bytes(), width_px=WIDTH, height_px=HEIGHT)
    with hearing(camera()) as heard:
        fault = heard.until_fault("no picture came for")
        assert fault.since_ns is not None
        assert not fault.lasting


def test_a_camera_that_falls_silent_and_comes_back_goes_on_with_its_numbers(
    loopback: Loopback, films: Path, tmp_path: Path
) -> None:
    played = reel(films, 15)
    opening = {"device": loopback.path, "size_px": TANK_SIZE, "frames": played}
    driver = camera()
    with world(tmp_path, **opening) as it:
        heard_by = hearing(driver)
        heard = heard_by.__enter__()
        heard.until_quiet(0)
        it.begin()
        first = it.played()
        heard.until_frames(15)
    heard.until_fault("no picture came for")
    with world(tmp_path, **opening) as it:
        it.begin()
        second = it.played()
        back = heard.until_fault("the camera is back after")
        heard.until_quiet(second.frames[-1][1])
    heard_by.__exit__(None, None, None)
    frames = heard.records(Frame)
    assert assert_are(frames[:15], played, first) == list(range(15))
    assert_are(frames[15:], played, second)
    assert back.since_ns == frames[14].t_ns or back.since_ns is not None
    assert frames[15].sequence > 15
