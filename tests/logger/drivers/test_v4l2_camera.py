"""A webcam, from opening to unplugging, with a stand-in for OpenCV's way to it (fake_capture.py)."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from logger.drivers.frame_stamps import S_NS
from logger.drivers.v4l2_camera import V4l2Camera
from logger.drivers.v4l2_ioctl import handle_of
from logger.drivers.v4l2_settings import V4l2Options
from logger.errors import DriverError
from logger.recording import jpeg
from logger.records import ClockDoubt, Fault, Frame, Quiet
from tests.logger.drivers.fake_capture import HEIGHT, MS, WIDTH, Bench, Webcam, picture

S = S_NS
T0 = 5_000 * S
PERIOD = S // 30
Plug = Callable[[Webcam], Webcam]


class Until:
    """A stop that is set at a time of the bench."""

    def __init__(self, bench: Bench, for_s: float) -> None:
        self._bench, self._end_ns = bench, bench.clock() + round(for_s * S)

    def is_set(self) -> bool:
        return self._bench.clock() >= self._end_ns


@pytest.fixture
def plug(monkeypatch: pytest.MonkeyPatch) -> Plug:
    return lambda webcam: webcam.open_by(monkeypatch)


def camera(webcam: Webcam, device: Path, **more: Any) -> V4l2Camera:
    device.touch()
    options = V4l2Options(device=str(device), width_px=WIDTH, height_px=HEIGHT, **more)
    return V4l2Camera(options, name="cam", clock=webcam.bench.clock, wait=webcam.bench.wait)


def film(webcam: Webcam, folder: Path, *, for_s: float = 2.0, idle_s: float = 0.0, **more: Any) -> list[Any]:
    with camera(webcam, folder / "video0", **more) as opened:
        webcam.bench.wait(idle_s)
        return list(opened.records(Until(webcam.bench, for_s)))


def of(kind: type, records: list[Any]) -> list[Any]:
    return [record for record in records if isinstance(record, kind)]


def check_promises(records: list[Any]) -> None:
    stamps = [record.t_ns for record in records]
    assert all(0 < later - earlier <= 100 * MS for earlier, later in pairwise(stamps))


def test_every_picture_comes_once_with_its_own_bytes_and_the_kernels_stamp(plug: Plug, tmp_path: Path) -> None:
    records = film(plug(Webcam()), tmp_path, exposure_us=5000, line_ns=21_000)
    frames = of(Frame, records)
    first = round(frames[0].t_ns / PERIOD)
    assert T0 < frames[0].t_ns < T0 + 2 * PERIOD
    assert len(frames) in (59, 60)
    for number, frame in enumerate(frames):
        assert frame.t_ns == (first + number) * PERIOD // 1000 * 1000
        assert frame.jpeg == picture(first + number)
        assert frame.sequence == number
        assert (frame.exposure_ns, frame.line_ns) == (5_000_000, 21_000)
        assert not frame.image.flags.writeable
        assert frame.image.shape == (HEIGHT, WIDTH, 3)
        assert (frame.image == jpeg.decode(picture(first + number), grey=False)).all()
    assert of(Fault, records) == of(ClockDoubt, records) == []
    check_promises(records)


def test_opencv_is_never_left_to_wait_by_itself(plug: Plug, tmp_path: Path) -> None:
    """Its own wait is ten seconds: the stand-in's too, unless it is told otherwise."""
    webcam = plug(Webcam(sends=False))
    film(webcam, tmp_path, for_s=1.0)
    assert webcam.bench.clock() - T0 < 1.1 * S


@pytest.mark.parametrize("idle_s", [0.5, 60.0])
def test_pictures_of_before_are_not_passed_on(plug: Plug, tmp_path: Path, idle_s: float) -> None:
    webcam = plug(Webcam())
    with camera(webcam, tmp_path / "video0") as opened:
        list(opened.records(Until(webcam.bench, 0.2)))
        webcam.bench.wait(idle_s)  # four old pictures fill the queue
        begun_ns = webcam.bench.clock()
        records = list(opened.records(Until(webcam.bench, 1.0)))
    frames = of(Frame, records)
    assert min(frame.t_ns for frame in frames) > begun_ns
    assert len(frames) > 26
    assert of(Fault, records) == []
    check_promises(records)


def test_lost_pictures_leave_their_numbers_out(plug: Plug, tmp_path: Path) -> None:
    first = T0 // PERIOD + 2
    webcam = plug(Webcam(lost=lambda k: k - first in (10, 11, 30)))
    frames = of(Frame, film(webcam, tmp_path))
    numbers = [frame.sequence for frame in frames]
    skipped = sorted(set(range(numbers[-1])) - set(numbers))
    assert len(skipped) == 3
    assert [b - a for a, b in pairwise(skipped)] == [1, 19]
    assert all(round((frame.t_ns - frames[0].t_ns) / PERIOD) == frame.sequence for frame in frames)


@pytest.mark.parametrize("numbers_from", [0, 2**32 - 20])
def test_the_kernels_own_numbers_count_where_they_can_be_had(
    plug: Plug, numbers_from: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A picture that begins late is no lost one; stamps alone could not tell."""
    first = T0 // PERIOD + 2

    def stamp(start: int) -> int:
        return start + (6 * PERIOD // 10 if start // PERIOD % 7 == 3 else 0)

    webcam = plug(Webcam(stamp=stamp, transfer_ns=S // 40, lost=lambda k: k - first in (10, 11, 30), numbers=True))
    webcam.numbers_from = numbers_from
    options = V4l2Options(device="/dev/full", width_px=WIDTH, height_px=HEIGHT)
    with V4l2Camera(options, name="cam", clock=webcam.bench.clock, wait=webcam.bench.wait) as opened:
        frames = of(Frame, list(opened.records(Until(webcam.bench, 2.0))))
    numbers = [frame.sequence for frame in frames]
    skipped = sorted(set(range(numbers[-1])) - set(numbers))
    assert len(skipped) == 3
    assert [b - a for a, b in pairwise(skipped)] == [1, 19]
    with handle_of("/dev/full") as left:
        assert left is None, "the camera is free again"


@pytest.mark.parametrize("where", ["stands_still", "is_too_late"])
def test_a_picture_that_was_overwritten_while_it_was_read_is_not_passed_on(plug: Plug, where: str) -> None:
    """Its stamp would be of one picture and its bytes of another."""
    still = T0 // PERIOD + 20
    webcam = plug(Webcam(numbers=True))
    setattr(webcam, where, lambda k: k == still)
    options = V4l2Options(device="/dev/full", width_px=WIDTH, height_px=HEIGHT)
    with V4l2Camera(options, name="cam", clock=webcam.bench.clock, wait=webcam.bench.wait) as opened:
        records = list(opened.records(Until(webcam.bench, 2.0)))
    frames = of(Frame, records)
    assert all(frame.jpeg == picture(round(frame.t_ns / PERIOD)) for frame in frames)
    assert still * PERIOD // 1000 * 1000 not in {frame.t_ns for frame in frames}
    assert "pictures that the next ones overwrote while they were read: 1" in {f.what for f in of(Fault, records)}
    assert all(round((frame.t_ns - frames[0].t_ns) / PERIOD) == frame.sequence for frame in frames)


def test_numbers_that_begin_anew_after_unplugging_count_nothing(plug: Plug) -> None:
    webcam = plug(Webcam(away_ns=[(T0 + 3 * S // 10, T0 + S)], numbers=True))
    options = V4l2Options(device="/dev/full", width_px=WIDTH, height_px=HEIGHT)
    frames = []
    with V4l2Camera(options, name="cam", clock=webcam.bench.clock, wait=webcam.bench.wait) as opened:
        for record in opened.records(Until(webcam.bench, 2.0)):
            if isinstance(record, Fault):
                webcam.numbers_from = 500  # whatever the driver begins with
            frames += of(Frame, [record])
    assert all(round((frame.t_ns - frames[0].t_ns) / PERIOD) == frame.sequence for frame in frames)
    assert frames[-1].sequence > len(frames) + 15


def test_arrival_is_not_taken_of_pictures_that_had_waited(plug: Plug, tmp_path: Path) -> None:
    webcam = plug(Webcam(stamp=lambda start: start + 3600 * S))
    with camera(webcam, tmp_path / "video0", stamps="arrival") as opened:
        for _ in range(2):
            frames = of(Frame, list(opened.records(Until(webcam.bench, 0.5))))
            assert len(frames) > 10
            for frame in frames:
                begun = next(k for k in range(frame.t_ns // PERIOD, 0, -1) if picture(k) == frame.jpeg)
                assert abs(frame.t_ns - begun * PERIOD - webcam.transfer_ns) < MS
            webcam.bench.wait(60.0)


def test_a_camera_that_takes_its_time_is_late_at_first_only(plug: Plug, tmp_path: Path) -> None:
    records = film(plug(Webcam(transfer_ns=600 * MS)), tmp_path, for_s=5.0)
    faults = of(Fault, records)
    assert {fault.what.rpartition(": ")[0] for fault in faults} == {"pictures that came too late to be put in order"}
    assert sum(int(fault.what.rpartition(": ")[2]) for fault in faults) <= 14, "of the first half second only"
    frames = of(Frame, records)
    assert frames[0].t_ns < T0 + S // 2
    assert [frame.sequence for frame in frames] == list(range(len(frames)))
    check_promises(records)


def test_memory_does_not_grow_with_the_film(plug: Plug, tmp_path: Path) -> None:
    webcam, held = plug(Webcam(torn=lambda k: k % 50 == 3, lost=lambda k: k % 70 == 5)), []
    with camera(webcam, tmp_path / "video0") as opened:
        tracemalloc.start()
        try:
            for number, _ in enumerate(opened.records(Until(webcam.bench, 100.0))):
                if number in (600, 2800):
                    held.append(tracemalloc.get_traced_memory()[0])
        finally:
            tracemalloc.stop()
    assert held[1] - held[0] < 30_000, "2,200 pictures of 2 kB have gone by"


def test_what_is_behind_a_picture_is_no_part_of_it(plug: Plug, tmp_path: Path) -> None:
    frames = of(Frame, film(plug(Webcam(padding_bytes=300)), tmp_path, for_s=0.5))
    assert frames[0].jpeg == picture(round(frames[0].t_ns / PERIOD))


def test_torn_pictures_are_told_and_not_passed_on(plug: Plug, tmp_path: Path) -> None:
    records = film(plug(Webcam(torn=lambda k: k % 10 == 3)), tmp_path)
    frames, faults = of(Frame, records), of(Fault, records)
    assert all(jpeg.look(frame.jpeg).is_whole for frame in frames)
    assert faults[0].what == "pictures that came torn and were left out: 1"
    assert faults[0].cure
    assert not faults[0].lasting
    told = sum(int(fault.what.rpartition(": ")[2]) for fault in faults)
    assert told in (4, 5, 6)  # the last ones may wait for their second to be over
    assert 5 <= frames[-1].sequence + 1 - len(frames) <= 6
    check_promises(records)


@pytest.mark.parametrize("shift_s", [1_790_000_000.0, 86_400.0, -4000.0])
def test_stamps_of_another_clock_are_told_and_arrival_counts(plug: Plug, tmp_path: Path, shift_s: float) -> None:
    webcam = plug(Webcam(stamp=lambda start: start + round(shift_s * S)))
    records = film(webcam, tmp_path, for_s=4.0)
    [fault], [doubt] = of(Fault, records), of(ClockDoubt, records)
    assert "another clock" in fault.what
    assert "when they arrive" in fault.what
    assert fault.cure
    frames = of(Frame, records)
    assert records.index(fault) < records.index(doubt) < records.index(frames[0])
    late_ns = [frame.t_ns % PERIOD for frame in frames]
    assert all(abs(late - webcam.transfer_ns) < MS for late in late_ns)
    # the truth, the beginning of the picture, is within two standard uncertainties of its arrival
    assert webcam.transfer_ns < 2 * doubt.u_ns < 2 * S // 15
    assert [frame.sequence for frame in frames] == list(range(len(frames)))
    check_promises(records)


def test_arrival_can_be_asked_for_and_is_then_a_doubt_without_a_fault(plug: Plug, tmp_path: Path) -> None:
    records = film(plug(Webcam(stamp=lambda _: 0)), tmp_path, stamps="arrival")
    assert of(Fault, records) == []
    [doubt] = of(ClockDoubt, records)
    assert doubt.u_ns == round(2 * PERIOD / 12**0.5)
    assert len(of(Frame, records)) in (59, 60)
    check_promises(records)


def test_a_single_stamp_in_the_future_is_left_out_and_told(plug: Plug, tmp_path: Path) -> None:
    wild = T0 // PERIOD + 20
    webcam = plug(Webcam(stamp=lambda start: start + (S if start == wild * PERIOD else 0)))
    records = film(webcam, tmp_path)
    assert [fault.what for fault in of(Fault, records)] == ["pictures stamped in the future and left out: 1"]
    frames = of(Frame, records)
    assert len(frames) == frames[-1].sequence  # one number is left out


def test_unplugged_and_back_goes_on_with_its_numbers(plug: Plug, tmp_path: Path) -> None:
    webcam = plug(Webcam(away_ns=[(T0 + 2 * S, T0 + 5 * S)]))
    records = film(webcam, tmp_path, for_s=8.0, exposure_us=5000)
    gone, back = of(Fault, records)
    assert gone.what == "the camera does not answer"
    assert gone.cure.startswith("plug the camera in again")
    assert T0 + 1.9 * S < gone.since_ns <= T0 + 2 * S
    assert back.what.startswith("the camera is back after 3.")
    assert back.since_ns == gone.since_ns
    assert not gone.lasting
    assert not back.lasting
    frames = of(Frame, records)
    assert all(round((frame.t_ns - frames[0].t_ns) / PERIOD) == frame.sequence for frame in frames)
    assert frames[-1].t_ns > T0 + 7.9 * S
    assert not any(T0 + 2 * S < frame.t_ns < T0 + 5 * S for frame in frames)
    assert webcam.released_count == webcam.opened_count
    check_promises(records)


def test_a_camera_that_comes_back_as_another_one_is_not_used(plug: Plug, tmp_path: Path) -> None:
    webcam = plug(Webcam(away_ns=[(T0 + S, T0 + 2 * S)]))
    with camera(webcam, tmp_path / "video0") as opened:
        records = []
        for record in opened.records(Until(webcam.bench, 5.0)):
            records.append(record)
            if webcam.bench.clock() > T0 + S:
                webcam.formats = [("YUYV", WIDTH, HEIGHT)]
    gone, other = of(Fault, records)
    assert "does not answer" in gone.what
    assert "the camera gives 64 x 48 YUYV" in other.what
    assert not any(frame.t_ns > T0 + S for frame in of(Frame, records))
    assert webcam.opened_count > 4
    assert webcam.released_count == webcam.opened_count
    check_promises(records)


def test_a_camera_that_stays_away_ends_in_a_lasting_fault(plug: Plug, tmp_path: Path) -> None:
    records = film(plug(Webcam(away_ns=[(T0 + S, 2**62)])), tmp_path, for_s=99.0, come_back_s=10)
    *_, gone, last = [r for r in records if not isinstance(r, Quiet)]
    assert "does not answer" in gone.what
    assert last.lasting
    assert last is records[-1]
    assert last.what == "the camera went away and did not come back within 10 s"
    assert last.cure
    check_promises(records)


def test_a_camera_that_wakes_up_loses_nothing_more(plug: Plug, tmp_path: Path) -> None:
    """One that is slow to begin, such as a stream from another program, is not closed meanwhile."""
    first = T0 // PERIOD + 5 * 30
    webcam = plug(Webcam(lost=lambda k: k < first))
    records = film(webcam, tmp_path, for_s=7.0)
    silent, back = of(Fault, records)
    assert silent.what == "no picture came for 2 s"
    assert back.what.startswith("the camera is back after 5.")
    assert of(Frame, records)[0].t_ns == first * PERIOD // 1000 * 1000
    assert webcam.opened_count == 1
    check_promises(records)


def test_a_computer_that_is_too_slow_knows_what_it_lost(plug: Plug, tmp_path: Path) -> None:
    webcam = plug(Webcam())
    records = []
    with camera(webcam, tmp_path / "video0") as opened:
        for record in opened.records(Until(webcam.bench, 20.0)):
            records.append(record)
            if isinstance(record, Frame):
                webcam.bench.wait(0.1)  # three periods of work for each picture
    frames = of(Frame, records)
    assert len(frames) < 220
    assert all(round((frame.t_ns - frames[0].t_ns) / PERIOD) == frame.sequence for frame in frames)
    faults = of(Fault, records)
    assert {fault.what.rpartition(":")[0] for fault in faults} == {
        "pictures that were lost because this computer was busy"
    }
    assert sum(int(fault.what.rpartition(": ")[2]) for fault in faults) > 350
    check_promises(records)


def test_no_pictures_at_all_are_told_with_the_cure_once(plug: Plug, tmp_path: Path) -> None:
    webcam = plug(Webcam(sends=False))
    records = film(webcam, tmp_path, for_s=45.0)
    [fault] = of(Fault, records)
    assert fault.what == "no picture came for 2 s"
    assert "hub" in fault.cure
    assert webcam.opened_count > 3  # it was tried anew, in case that helps
    check_promises(records)


def test_a_camera_that_cannot_begin_is_told_with_the_cure(plug: Plug, tmp_path: Path) -> None:
    [fault] = of(Fault, film(plug(Webcam(can_begin=False)), tmp_path, for_s=5.0))
    assert fault.what == "the camera does not begin to send pictures"
    assert "hub" in fault.cure


@pytest.mark.parametrize(
    "webcam",
    [Webcam(sends=False), Webcam(away_ns=[(T0 + S, 2**62)]), Webcam(period_ns=S)],
    ids=["mute", "gone", "slow"],
)
def test_stop_is_obeyed_within_200_ms_whatever_the_camera_does(webcam: Webcam, plug: Plug, tmp_path: Path) -> None:
    plug(webcam)
    webcam.rates_hz = (S / webcam.period_ns,)
    for after_s in (0.3, 1.31, 2.6, 3.37):
        asked_ns = webcam.bench.clock() + round(after_s * S)
        with camera(webcam, tmp_path / "video0", rate_hz=webcam.rates_hz[0]) as opened:
            list(opened.records(Until(webcam.bench, after_s)))
        assert webcam.bench.clock() - asked_ns <= 0.2 * S
        if webcam.is_away(webcam.bench.clock()):
            return


def test_a_wrong_format_is_refused_in_plain_words(plug: Plug, tmp_path: Path) -> None:
    webcam = plug(Webcam(formats=[("YUYV", 640, 480)]))
    with pytest.raises(
        DriverError, match=r"^cam: .*video0: asked for pictures of 64 x 48 MJPG, the camera gives 640 x 480 YUYV; ask"
    ):
        camera(webcam, tmp_path / "video0").__enter__()
    assert webcam.released_count == 1


def test_a_device_that_is_not_there_is_told_with_those_that_are(plug: Plug, tmp_path: Path) -> None:
    webcam = plug(Webcam(is_busy=True))
    absent = V4l2Camera(V4l2Options(device=str(tmp_path / "video9")), name="cam")
    with pytest.raises(DriverError, match=r"^cam: .*video9: there is no such camera; plug it in, or name one of these"):
        absent.__enter__()
    with pytest.raises(DriverError, match="in use by another program; end that one"):
        camera(webcam, tmp_path / "video0").__enter__()


def test_records_are_to_be_had_inside_with_only(tmp_path: Path) -> None:
    closed = camera(Webcam(), tmp_path / "video0")
    with pytest.raises(DriverError, match="not open; use it inside `with`"):
        next(closed.records(Until(Bench(), 1.0)))


def test_the_self_test_does_not_get_into_the_recording(plug: Plug, tmp_path: Path) -> None:
    webcam = plug(Webcam())
    with camera(webcam, tmp_path / "video0") as opened:
        findings = opened.self_test()
        begun_ns = webcam.bench.clock()
        frames = of(Frame, list(opened.records(Until(webcam.bench, 0.5))))
    assert begun_ns - T0 < 2 * S
    assert findings[0].found.endswith("64 x 48 MJPG, 30 a second, as asked")
    assert all(frame.t_ns > begun_ns for frame in frames)
    assert [frame.sequence for frame in frames] == list(range(len(frames)))


def test_pictures_without_huffman_tables_are_taken_as_they_are(
    plug: Plug, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Most webcams leave out the standard tables (ITU-T T.81, K.3); decoders know them."""
    whole = picture(7)
    bare = without_tables(whole)
    assert len(bare) < len(whole) - 400
    webcam = plug(Webcam())
    monkeypatch.setattr("tests.logger.drivers.fake_capture.picture", lambda _: bare)
    frames = of(Frame, film(webcam, tmp_path, for_s=0.5))
    assert len(frames) > 10
    assert frames[0].jpeg == bare
    assert (frames[0].image == cv2.imdecode(np.frombuffer(whole, np.uint8), cv2.IMREAD_COLOR)).all()


def without_tables(data: bytes) -> bytes:
    kept, place = bytearray(data[:2]), 2
    while data[place + 1] != 0xDA:
        end = place + 2 + int.from_bytes(data[place + 2 : place + 4], "big")
        if data[place + 1] != 0xC4:
            kept += data[place:end]
        place = end
    return bytes(kept) + data[place:]
