"""Stamps of pictures: exact from OpenCV's float, of whose clock, and what is missing between them."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import example, given
from hypothesis import strategies as st

from logger.drivers.frame_stamps import STALE_MOST_COUNT, Gaps, StampClock, ns_of_ms

S = 1_000_000_000
MS = 1_000_000
UPTIME_S = 30 * 86_400
PERIOD = 33_333_333


@given(st.integers(0, UPTIME_S), st.integers(0, 999_999))
@example(UPTIME_S, 999_999)
@example(20 * 365 * 86_400, 999_999)
def test_every_microsecond_survives_the_float_milliseconds_of_opencv(seconds: int, micros: int) -> None:
    """OpenCV makes them by 1000 * tv_sec + tv_usec / 1000.0 (modules/videoio/src/cap_v4l.cpp)."""
    assert ns_of_ms(1000 * seconds + micros / 1000.0) == seconds * S + micros * 1000


def test_a_fresh_stamp_of_the_one_clock_is_ours() -> None:
    assert StampClock(100 * S).judge(100 * S + 5 * MS, arrived_ns=100 * S + 20 * MS) == "ours"


def test_a_picture_of_before_is_stale_and_the_next_is_ours() -> None:
    clock = StampClock(100 * S)
    assert [clock.judge(100 * S - back * MS, arrived_ns=100 * S + MS) for back in (900, 40, 7)] == ["stale"] * 3
    assert clock.judge(100 * S + MS, arrived_ns=100 * S + 14 * MS) == "ours"


def test_a_stamp_in_the_future_is_of_another_clock() -> None:
    since_1970_ns = 1_790_000_000 * S
    assert StampClock(100 * S).judge(since_1970_ns, arrived_ns=100 * S + MS) == "foreign"


def test_stamps_that_stay_behind_are_of_another_clock() -> None:
    """A clock that was put on late, or none at all: zeros."""
    clock = StampClock(100 * S)
    said = [clock.judge(0, arrived_ns=100 * S + number * PERIOD) for number in range(1, 60)]
    assert set(said[:STALE_MOST_COUNT]) == {"stale"}
    assert said[-1] == "foreign"
    assert said.index("foreign") * PERIOD <= 1.1 * S


def missing(stamps: list[int], nominal_ns: int = PERIOD) -> list[int]:
    gaps = Gaps(nominal_ns)
    return [gaps.missing_count(stamp) for stamp in stamps]


@given(
    st.lists(st.integers(1, 9), min_size=1, max_size=60),
    st.lists(st.floats(-0.09, 0.09), min_size=60, max_size=60),
    st.sampled_from([S // 5, S // 30, S // 120]),
)
def test_what_is_missing_is_counted_though_stamps_jitter(steps: list[int], jitters: list[float], period: int) -> None:
    """A camera that is on time mostly: at each step some pictures are missing; each stamp jitters by a tenth."""
    steady = [1] * 20
    numbers = [0]
    for step in (number for one in steps for number in (one, *steady)):
        numbers.append(numbers[-1] + step)
    stamps = [round((number + jitters[i % 60]) * period) + S for i, number in enumerate(numbers)]
    wanted = [0, *(later - earlier - 1 for earlier, later in pairwise(numbers))]
    assert missing(stamps, period) == wanted


def test_a_camera_that_slows_down_is_slow_and_does_not_lose_every_second_picture() -> None:
    gaps = Gaps(PERIOD)
    steps = [PERIOD] * 40 + [2 * PERIOD] * 60
    stamps = [sum(steps[:count], S) for count in range(len(steps))]
    counts = [gaps.missing_count(stamp) for stamp in stamps]
    assert sum(counts[60:]) == 0
    assert gaps.is_slow
    assert abs(gaps.period_ns - 2 * PERIOD) <= 1


def test_pictures_that_we_lost_ourselves_say_nothing_of_the_camera() -> None:
    gaps = Gaps(PERIOD)
    assert [gaps.missing_count(S + n * 3 * PERIOD, is_behind=True) for n in range(60)] == [0, *[2] * 59]
    assert not gaps.is_slow


def test_running_numbers_know_better_than_stamps_that_come_late() -> None:
    late = [S, S + PERIOD, S + round(2.6 * PERIOD), S + 3 * PERIOD, S + 4 * PERIOD, S + 7 * PERIOD, S + 8 * PERIOD]
    numbers = [2**32 - 2, 2**32 - 1, 0, 1, 2, 5, 6]
    gaps = Gaps(PERIOD)
    assert [gaps.missing_count(t, number=n) for t, n in zip(late, numbers, strict=True)] == [0, 0, 0, 0, 0, 2, 0]
    assert missing(late) == [0, 0, 1, 0, 0, 2, 0]


def test_numbers_that_stand_still_or_begin_anew_are_not_believed() -> None:
    gaps = Gaps(PERIOD)
    stamps = [S, S + PERIOD, S + 4 * PERIOD]
    assert [gaps.missing_count(t, number=0) for t in stamps] == [0, 0, 2]
    gaps.begin_numbers()
    assert gaps.missing_count(S + 8 * PERIOD, number=900) == 3
    assert gaps.missing_count(S + 9 * PERIOD, number=3) == 0


def test_time_that_goes_back_or_stands_still_counts_nothing() -> None:
    assert missing([5 * S, 3 * S, 3 * S, 3 * S + PERIOD]) == [0, 0, 0, 0]


def test_an_hour_away_is_counted() -> None:
    assert missing([S, S + 3600 * S], S // 30)[1] == 30 * 3600 - 1
