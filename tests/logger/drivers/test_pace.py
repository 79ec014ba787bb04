"""A story that is known beforehand is told at its own pace, with its silences."""

from __future__ import annotations

import threading
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.drivers.pace import LONGEST_WAIT_S, QUIET_EVERY_NS, Pace, tell
from logger.records import Edge, Quiet

MS = 1_000_000


class Bench:
    """A clock that moves only by waiting, and a stop that is set at a time of it."""

    def __init__(self, *, stop_at_ns: int = 2**62) -> None:
        self.now_ns = 5_000
        self.waits_s: list[float] = []
        self._stop_at_ns = stop_at_ns

    def clock(self) -> int:
        return self.now_ns

    def wait(self, s: float) -> None:
        self.waits_s.append(s)
        self.now_ns += round(s * 1e9)

    def is_set(self) -> bool:
        return self.now_ns >= self._stop_at_ns

    def pace(self, speed_ratio: float = 1.0) -> Pace:
        return Pace("real_time", speed_ratio, clock=self.clock, wait=self.wait)


def edges(*times_ms: int) -> list[Edge]:
    return [Edge(t * MS, "A", n % 2 == 0, "gates") for n, t in enumerate(times_ms)]


def test_silence_is_filled_up_to_the_end() -> None:
    told = list(tell(edges(30, 250), name="gates", span_ns=(0, 400 * MS), pace=Pace(), stop=threading.Event()))
    assert [(type(r).__name__, r.t_ns // MS) for r in told] == [
        ("Quiet", 0), ("Edge", 30), ("Quiet", 130), ("Quiet", 230), ("Edge", 250), ("Quiet", 350), ("Quiet", 400),
    ]  # fmt: skip


@given(st.lists(st.integers(1, 2_000_000_000), max_size=20), st.integers(0, 2_000_000_000))
def test_silences_are_short_and_never_broken(stamps: list[int], end_ns: int) -> None:
    story = [Edge(t, f"gate {n}", True, "gates") for n, t in enumerate(sorted(stamps))]
    told = list(tell(story, name="gates", span_ns=(0, end_ns), pace=Pace(), stop=threading.Event()))
    assert [r for r in told if isinstance(r, Edge)] == story
    times = [r.t_ns for r in told]
    assert times == sorted(times)
    assert all(later - earlier <= QUIET_EVERY_NS for earlier, later in pairwise(times))
    assert times[-1] == max([end_ns, *stamps])
    assert all(not isinstance(a, Quiet) or a.t_ns < b.t_ns for a, b in pairwise(told) if b in story)


@pytest.mark.parametrize(("speed_ratio", "takes_ms"), [(1.0, 400), (2.0, 200), (0.5, 800)])
def test_real_time_takes_as_long_as_it_took(speed_ratio: float, takes_ms: int) -> None:
    bench = Bench()
    for record in tell(edges(30, 250), name="g", span_ns=(0, 400 * MS), pace=bench.pace(speed_ratio), stop=bench):
        assert bench.now_ns - 5_000 == pytest.approx(record.t_ns / speed_ratio, abs=1_000)
    assert bench.now_ns - 5_000 == pytest.approx(takes_ms * MS, abs=1_000)


def test_it_never_waits_longer_than_it_may_be_deaf() -> None:
    bench = Bench(stop_at_ns=120 * MS)
    told = list(tell(edges(90_000), name="g", span_ns=(0, 10**11), pace=bench.pace(0.01), stop=bench))
    assert told == [Quiet(0, "g")]
    assert max(bench.waits_s) <= LONGEST_WAIT_S
    assert bench.now_ns <= 120 * MS + LONGEST_WAIT_S * 1e9


def test_a_reader_that_is_late_is_not_waited_for() -> None:
    bench = Bench()
    story = tell(edges(30, 40, 50), name="g", span_ns=(0, 60 * MS), pace=bench.pace(), stop=bench)
    next(story)
    bench.now_ns += 10**9
    assert len(list(story)) == 4
    assert bench.waits_s == []
