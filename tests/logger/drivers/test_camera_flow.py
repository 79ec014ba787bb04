"""A camera's records keep their promises whatever the pictures do."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from logger.drivers.camera_flow import BACKWARDS, LATE, QUIET_EVERY_NS, Flow, Taken, Trouble
from logger.drivers.frame_stamps import Gaps
from logger.records import Fault, Frame, Quiet

S = 1_000_000_000
MS = 1_000_000
PERIOD = S // 30
IMAGE = np.zeros((2, 2, 3), np.uint8)
HAIRS = Trouble("pictures with a hair", "wipe the lens")


def taken(t_ns: int) -> Taken:
    return Taken(t_ns, t_ns, IMAGE, b"jpeg", 5 * MS, 15_000)


def flow(period_ns: int = PERIOD, begun_ns: int = 10 * S) -> Flow:
    return Flow("cam", begun_ns=begun_ns, gaps=Gaps(period_ns))


def faults(records: list[Any]) -> list[Fault]:
    return [record for record in records if isinstance(record, Fault)]


def frames(records: list[Any]) -> list[Frame]:
    return [record for record in records if isinstance(record, Frame)]


def test_a_picture_is_passed_on_as_it_came() -> None:
    [frame] = flow().picture(taken(10 * S + 7), now_ns=10 * S + 20 * MS)
    assert isinstance(frame, Frame)
    assert (frame.t_ns, frame.sequence, frame.source, frame.jpeg) == (10 * S + 7, 0, "cam", b"jpeg")
    assert (frame.exposure_ns, frame.line_ns) == (5 * MS, 15_000)


@given(
    steps=st.lists(st.integers(1, 3 * S), min_size=1, max_size=20),
    ages=st.lists(st.integers(0, 2 * S), min_size=20, max_size=20),
    polls=st.lists(st.integers(10 * MS, 400 * MS), min_size=1, max_size=20),
    torn=st.sets(st.integers(0, 19)),
)
def test_no_promise_is_broken(steps: list[int], ages: list[int], polls: list[int], torn: set[int]) -> None:
    """However late pictures come, and however seldom the driver looks: order, no silence, no broken word."""
    one = flow()
    records: list[Any] = list(one.begin())
    stamp_ns = now_ns = 10 * S
    for number, step in enumerate(steps):
        stamp_ns += step
        arrives_ns = stamp_ns + ages[number]
        while now_ns < arrives_ns:
            records += one.waited(since_ns=now_ns)
            now_ns += polls[number % len(polls)]
        if number in torn:
            one.note(HAIRS, t_ns=stamp_ns)
            records += one.tell(now_ns)
        else:
            records += one.picture(taken(stamp_ns), now_ns=now_ns)
    stamps = [record.t_ns for record in records]
    assert all(0 < later - earlier <= QUIET_EVERY_NS for earlier, later in pairwise(stamps))
    assert all(record.t_ns <= now_ns for record in records)
    assert len(frames(records)) + sum(
        int(f.what.rpartition(": ")[2]) for f in faults(records) if ": " in f.what
    ) <= len(steps)
    numbers = [frame.sequence for frame in frames(records)]
    assert all(later > earlier for earlier, later in pairwise(numbers))


def test_pictures_on_time_are_never_late_at_any_rate() -> None:
    for rate in (1, 5, 15, 30, 90, 240):
        period = S // rate
        one = flow(period)
        records: list[Any] = list(one.begin())
        for number in range(1, 40):
            stamp_ns = 10 * S + number * period
            now_ns = stamp_ns - period
            while now_ns < stamp_ns + period:  # here one period after it began
                records += one.waited(since_ns=now_ns)
                now_ns += 50 * MS
            records += one.picture(taken(stamp_ns), now_ns=now_ns)
        assert len(frames(records)) == 39
        assert faults(records) == []


def test_while_nothing_comes_it_calls_itself_quiet_up_to_a_while_ago() -> None:
    one = flow()
    quiets = [q for now in range(10 * S, 12 * S, 50 * MS) for q in one.waited(since_ns=now)]
    assert all(isinstance(q, Quiet) for q in quiets)
    assert quiets[-1].t_ns == 12 * S - 50 * MS - one.lag_ns


def test_a_late_picture_is_told_and_not_passed_on() -> None:
    one = flow()
    list(one.waited(since_ns=13 * S))
    [told] = one.picture(taken(12 * S), now_ns=13 * S)
    assert isinstance(told, Fault)
    assert (told.what, told.cure, told.since_ns) == (f"{LATE.what}: 1", LATE.cure, 12 * S)


def test_a_stamp_that_goes_back_is_told_and_not_passed_on() -> None:
    one = flow()
    list(one.picture(taken(11 * S), now_ns=11 * S))
    told = list(one.picture(taken(11 * S), now_ns=11 * S + MS))
    assert [fault.what for fault in faults(told)] == [f"{BACKWARDS.what}: 1"]
    assert frames(told) == []


def test_a_picture_that_is_missing_leaves_its_number_out() -> None:
    one = flow()
    kept = [n for n in range(40) if n not in (7, 20, 21)]
    got = [
        frame.sequence for n in kept for frame in frames(list(one.picture(taken(10 * S + 1 + n * PERIOD), now_ns=0)))
    ]
    assert got == kept


def test_trouble_is_told_at_once_and_then_once_a_second_with_its_count() -> None:
    one = flow()
    told = []
    for number in range(90):
        now_ns = 10 * S + number * PERIOD
        one.note(HAIRS, t_ns=now_ns)
        told += list(one.tell(now_ns))
    assert [fault.what for fault in told] == [f"{HAIRS.what}: {count}" for count in (1, 31, 31)]
    assert [fault.since_ns for fault in told] == [10 * S + number * PERIOD for number in (0, 1, 32)]


def test_a_camera_that_slows_down_is_told_once() -> None:
    one = flow()
    records = [r for n in range(80) for r in one.picture(taken(10 * S + 1 + n * 2 * PERIOD), now_ns=0)]
    assert [fault.what for fault in faults(records)] == ["pictures come at 15.0 instead of 30.0 a second"]
    assert len(frames(records)) == 80


def test_a_fault_does_not_shut_out_pictures_that_still_wait() -> None:
    one = flow()
    list(one.picture(taken(11 * S), now_ns=11 * S))
    [fault] = one.fault("a knock", "hold still")
    assert fault.t_ns == 11 * S + 1
    assert frames(list(one.picture(taken(11 * S + PERIOD), now_ns=14 * S))) != []
