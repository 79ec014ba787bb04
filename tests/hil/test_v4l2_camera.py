"""The camera driver on a real kernel: a rendered tank goes through v4l2loopback into V4l2Camera and the journal."""

from __future__ import annotations

import os
import time
from contextlib import AbstractContextManager, ExitStack
from dataclasses import replace
from pathlib import Path
from statistics import median

import pytest

from logger.config import CameraSetup
from logger.drivers.gpio_gates import GpioGates, GpioGatesOptions
from logger.drivers.v4l2_camera import V4l2Camera
from logger.drivers.v4l2_settings import V4l2Options
from logger.errors import DriverError
from logger.recording.folder import load
from logger.recording.journal import Journal
from logger.recording.jpeg import decode
from logger.records import Fault, Frame
from tests.hil.chip import Chip
from tests.hil.film import TANK_SIZE
from tests.hil.hearing import hearing
from tests.hil.rigs import CARD, RIG, camera_file
from tests.hil.video import Loopback, Vivid
from tests.hil.world import Happened, World, world

pytestmark = pytest.mark.hil

RATE_HZ = 30
FILM_S = int(os.environ.get("BOATRUN_HIL_FILM_S", "60"))
"""BOATRUN_HIL_FILM_S: another length."""
WIDTH, HEIGHT = TANK_SIZE
OPTIONS = V4l2Options(device="/dev/video40", width_px=WIDTH, height_px=HEIGHT, rate_hz=RATE_HZ, come_back_s=20)


def camera(**changes: object) -> V4l2Camera:
    return V4l2Camera(replace(OPTIONS, **changes), name="camera")  # type: ignore[arg-type]


def reel(films: Path, count: int, rate_hz: float = RATE_HZ) -> list[tuple[int, Path]]:
    """So many pictures, the same few again and again."""
    pictures = sorted((films / "tank").glob("*.jpg"))
    return [(round(number * 1e9 / rate_hz), pictures[number % len(pictures)]) for number in range(count)]


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


def bearable_rate_hz(picture: Path) -> float:
    """How many pictures a second this machine can decode in two thirds of its time, at most a camera's 30."""
    jpeg, took_s = picture.read_bytes(), []
    for _ in range(21):
        begun_s = time.monotonic()
        assert decode(jpeg, grey=False) is not None
        took_s.append(time.monotonic() - begun_s)
    return min(RATE_HZ, max(5.0, 5 * (0.67 / median(took_s) // 5)))


def journal_in(folder: Path) -> Journal:
    rig = replace(RIG, camera=CameraSetup(None, "camera.toml"))
    return Journal(folder, card=CARD, rig=rig, calibration=camera_file(*TANK_SIZE))


def rehearse(loopback: Loopback, films: Path, folder: Path) -> None:
    """Go through everything once: the first picture of all loads programs, which takes this machine half a second."""
    played = reel(films, 5, 5.0)
    with (
        world(folder, device=loopback.path, size_px=TANK_SIZE, frames=played) as it,
        journal_in(folder / "rehearsal") as journal,
        hearing(camera(), keep=journal.keep) as heard,
    ):
        heard.until_at_work()
        it.begin()
        heard.until_quiet(it.played().frames[-1][1])
        assert heard.records(Frame)


def test_pictures_come_into_the_recording_bit_for_bit_and_what_is_lost_is_known(
    loopback: Loopback, films: Path, tmp_path: Path
) -> None:
    """As many a second as this machine can take; one that stands still meanwhile loses some, and has to know it."""
    rehearse(loopback, films, tmp_path)
    rate_hz = bearable_rate_hz(films / "tank/000.jpg")
    played = reel(films, round(rate_hz * FILM_S), rate_hz)
    with (
        world(tmp_path, device=loopback.path, size_px=TANK_SIZE, frames=played) as it,
        journal_in(tmp_path / "run-1") as journal,
        hearing(camera(rate_hz=rate_hz), keep=journal.keep) as heard,
    ):
        heard.until_at_work()
        it.begin()
        when = it.played()
        heard.until_quiet(when.frames[-1][1])
        frames = heard.records(Frame)
    numbers = assert_are(frames, played, when)
    lost_count = len(played) - len(numbers)
    faults = [fault.what for fault in heard.records(Fault)]
    print(f"\n{len(played)} pictures of {WIDTH} x {HEIGHT}, {rate_hz:g} a second: {lost_count} lost; {faults}")
    recorded = load(tmp_path / "run-1")
    assert recorded.stamps is not None
    assert recorded.stamps.t_ns.tolist() == [frame.t_ns for frame in frames]
    assert recorded.video is not None
    assert recorded.video.read_bytes() == b"".join(frame.jpeg or b"" for frame in frames)
    assert [frame.sequence for frame in frames] == numbers, "those that are missing are left out of the numbers"
    assert lost_count <= len(played) // 50


def test_another_format_than_asked_for_is_refused(vivid: Vivid) -> None:
    """vivid has no compressed pictures; OpenCV says yes when asked for them."""
    with pytest.raises(DriverError, match="asked for pictures of 640 x 480 MJPG, the camera gives 640 x 480"):
        camera(device=vivid.path).__enter__()


def test_another_size_than_asked_for_is_refused(loopback: Loopback, films: Path) -> None:
    loopback.begin_writing((films / "tank/000.jpg").read_bytes(), width_px=WIDTH, height_px=HEIGHT)
    with pytest.raises(DriverError, match="asked for pictures of 1280 x 720 MJPG, the camera gives 640 x 480 MJPG"):
        camera(width_px=1280, height_px=720).__enter__()


def test_without_a_camera_it_says_so() -> None:
    with pytest.raises(DriverError, match="camera: /dev/video40: there is no such camera"):
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
    rehearse(loopback, films, tmp_path)
    played = reel(films, 10, 10.0)
    driver = camera(rate_hz=10.0)

    def another_world() -> AbstractContextManager[World]:
        return world(tmp_path, device=loopback.path, size_px=TANK_SIZE, frames=played)

    with ExitStack() as first_world:
        it = first_world.enter_context(another_world())
        with hearing(driver) as heard:
            heard.until_at_work()
            it.begin()
            first = it.played()
            first_world.close()
            away = heard.until_fault("no picture came for")
            before = heard.records(Frame)
            with another_world() as it:
                it.begin()
                second = it.played()
                back = heard.until_fault("the camera is back after")
                heard.until_quiet(second.frames[-1][1])
    # the picture with which the second world opened the device may have come as well
    after = [frame for frame in heard.records(Frame)[len(before) :] if frame.t_ns >= second.begun_ns]
    assert_are(before, played, first)
    assert_are(after, played, second)
    assert len(before) > 5 < len(after)
    assert before[-1].t_ns <= away.t_ns < back.t_ns
    assert not away.lasting
    missed_count = after[0].sequence - before[-1].sequence - 1
    assert missed_count == pytest.approx((after[0].t_ns - before[-1].t_ns) / 1e8 - 1, abs=3)


def test_a_storm_of_edges_at_a_gate_costs_no_picture(
    loopback: Loopback, films: Path, chip: Chip, tmp_path: Path
) -> None:
    rehearse(loopback, films, tmp_path)
    played = reel(films, 20, 5.0)
    options = GpioGatesOptions({"A": 0}, blocked_is="high", pull="down", chip=chip.label)
    with (
        world(tmp_path, device=loopback.path, size_px=TANK_SIZE, frames=played) as it,
        hearing(GpioGates(options, name="gates")) as gates,
        hearing(camera(rate_hz=5.0)) as heard,
    ):
        heard.until_at_work()
        it.begin()
        ends_s, changes_count = time.monotonic() + len(played) / 5.0, 0
        while time.monotonic() < ends_s:
            chip.pull(0, changes_count % 2 == 0)
            changes_count += 1
        when = it.played()
        heard.until_quiet(when.frames[-1][1])
        gates.until_fault("flickers")
    print(f"\n{changes_count / 4:.0f} changes a second for 4 s, {len(gates.edges)} of {changes_count} came as edges")
    assert assert_are(heard.records(Frame), played, when) == list(range(len(played)))
