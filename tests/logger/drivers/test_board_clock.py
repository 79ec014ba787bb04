"""Fits over simulated links: what is stated must hold the truth, and must not be idle."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from logger.drivers.board_clock import READY_COUNT, WINDOW_NS, BoardClock, Exchange, Unwrapped

Delay = Callable[[random.Random, int], float]
"""(chance, time in ns) -> ns."""
US = 1_000
S = 1_000_000_000


def between(low_us: float, high_us: float) -> Delay:
    return lambda chance, _: chance.uniform(low_us, high_us) * US


def timer(period_us: float) -> Delay:
    """A bridge that hands on what it has whenever its own timer strikes."""
    period_ns = period_us * US
    return lambda chance, t_ns: period_ns - t_ns % period_ns + chance.uniform(50, 150) * US


def asked(
    *, there: Delay, back: Delay, seed: int, ppm: float = 40.0, seconds: float = 60.0, drift_ppm_per_s: float = 0.0
) -> tuple[BoardClock, list[tuple[int, int, int]]]:
    """A clock that was asked for a while; for the last answers (counter, true time, u) at a moment close to each."""
    chance = random.Random(seed)  # noqa: S311
    clock = BoardClock(tick_ns=1000)
    t_ns, checks, origin_ns = 10**15 + chance.randrange(S), [], 10**15

    def counter(at_ns: float) -> int:
        passed_s = (at_ns - origin_ns) / 1e9
        return int((at_ns - origin_ns) * (1 + (ppm + drift_ppm_per_s * passed_s / 2) * 1e-6) / 1000)

    end_ns = t_ns + round(seconds * 1e9)
    while t_ns < end_ns:
        read_ns = t_ns + there(chance, t_ns)
        heard_ns = read_ns + back(chance, round(read_ns))
        clock.add(Exchange(t_ns, counter(read_ns), round(heard_ns)))
        if clock.fit is not None:
            edge_ns = round(read_ns) - chance.randrange(80_000_000)
            checks.append((clock.fit.stamp_ns(counter(edge_ns)) - edge_ns, clock.fit.u_ns, clock.fit.at_ns))
        t_ns += chance.randrange(60_000_000, 100_000_000)
    return clock, checks


def coverage(links: list[tuple[Delay, Delay]], k: float, **world: float) -> float:
    """Share of single late stamps, one of each of many boards, that lie within k·u of the truth."""
    held = 0
    for seed, (there, back) in enumerate(links):
        _, checks = asked(there=there, back=back, seed=seed, seconds=2.5 + seed % 12, **world)
        error_ns, u_ns, _ = checks[-1]
        held += abs(error_ns) <= k * u_ns
    return held / len(links)


def test_a_link_that_is_as_fast_there_as_back_is_held_and_its_error_is_small() -> None:
    links = [(between(100, 1000), between(100, 1000))] * 60
    assert coverage(links, 2) >= 0.95
    clock, checks = asked(there=between(100, 1000), back=between(100, 1000), seed=5)
    assert abs(checks[-1][0]) < 60 * US
    assert clock.fit is not None
    assert clock.fit.u_ns < 250 * US


def test_a_link_whose_whole_round_trip_may_lie_on_one_side_is_held() -> None:
    """The truth lies anywhere between the two extremes: one u holds about 58 % of a rectangle, 2 u all of it."""
    chance = random.Random(3)  # noqa: S311
    links = []
    for _ in range(100):
        there_us = chance.uniform(0, 1000)
        links.append((between(there_us, there_us + 30), between(1000 - there_us, 1030 - there_us)))
    assert coverage(links, 2) >= 0.95
    assert 0.45 <= coverage(links, 1) <= 0.75, "1/√3 = 58 %; much more would mean that u is idle"


@pytest.mark.parametrize("ppm", [-5000.0, 40.0, 5000.0])
def test_a_bridge_with_a_timer_of_16_ms_is_stated_honestly(ppm: float) -> None:
    links = [(between(100, 300), timer(16_000))] * 30
    assert coverage(links, 2, ppm=ppm) >= 0.95


def test_a_bridge_that_always_waits_16_ms_is_stated_as_such() -> None:
    """No fit can see it: the error is the half of it, and 2 u must hold that."""
    clock, checks = asked(there=between(100, 200), back=between(16_000, 16_200), seed=2)
    error_ns, u_ns, _ = checks[-1]
    assert 7_800 * US < error_ns < 8_200 * US
    assert error_ns <= 2 * u_ns < 1.3 * error_ns
    assert clock.fit is not None


def test_a_computer_that_is_busy_for_half_a_minute_does_not_spoil_the_line() -> None:
    def back(chance: random.Random, t_ns: int) -> float:
        busy = (t_ns - 10**15) % (60 * S) > 25 * S
        return chance.uniform(100, 300) * US + (chance.expovariate(1 / 5000) * US if busy else 0)

    for seed in range(10):
        _, checks = asked(there=between(100, 300), back=back, seed=seed)
        assert all(abs(error_ns) <= 2 * u_ns for error_ns, u_ns, _ in checks[300:])
        assert max(u_ns for _, u_ns, _ in checks[300:]) < 2_000 * US


def test_slow_answers_count_little_beside_fast_ones() -> None:
    """For half a minute every answer comes 10 ms late, then none: the line is that of the fast ones at once."""

    def back(chance: random.Random, t_ns: int) -> float:
        return chance.uniform(100, 300) * US + (10_000 * US if t_ns < 10**15 + 30 * S else 0)

    _, checks = asked(there=between(100, 300), back=back, seed=1, seconds=34)
    error_ns, u_ns, _ = checks[-1]
    assert abs(error_ns) <= 2 * u_ns < 1_000 * US


def test_a_crystal_that_warms_up_is_followed() -> None:
    """20 ppm in a minute, more than a crystal does between a cold and a warm room."""
    links = [(between(100, 300), between(100, 300))] * 10
    assert coverage(links, 2, drift_ppm_per_s=0.33) >= 0.9


@given(
    ppm=st.floats(-5000, 5000),
    there_us=st.floats(20, 5000),
    back_us=st.floats(20, 5000),
    spread_us=st.floats(1, 3000),
    seconds=st.floats(2.5, 45),
    seed=st.integers(0, 2**32),
)
def test_two_u_hold_the_truth_on_any_link(
    ppm: float, there_us: float, back_us: float, spread_us: float, seconds: float, seed: int
) -> None:
    links = between(there_us, there_us + spread_us), between(back_us, back_us + spread_us)
    clock, checks = asked(there=links[0], back=links[1], seed=seed, ppm=ppm, seconds=seconds)
    assert clock.fit is not None
    held = [abs(error_ns) <= 2 * u_ns for error_ns, u_ns, _ in checks]
    assert sum(held) / len(held) >= 0.9
    assert not clock.has_jumped


def test_the_rate_is_found() -> None:
    clock, _ = asked(there=between(100, 200), back=between(100, 200), seed=1, ppm=-123.0)
    assert clock.rate_ppm == pytest.approx(-123.0, abs=1.0)


def test_a_lateness_that_the_board_admits_is_halved_and_stated() -> None:
    clock = BoardClock(tick_ns=1000, late_ns=60_000)
    for k in range(40):
        t_ns = k * 70_000_000
        clock.add(Exchange(t_ns, (t_ns + 50_000) // 1000, t_ns + 100_000))
    assert clock.fit is not None
    assert clock.fit.stamp_ns(1_000_000) == pytest.approx(1_000_000_000 - 30_000, abs=1_000)
    assert clock.fit.u_ns >= (50_000**2 / 3 + 30_000**2 / 3) ** 0.5  # JCGM 100:2008, 4.3.7


def test_nothing_is_fitted_to_few_answers() -> None:
    clock = BoardClock(tick_ns=1000)
    for k in range(READY_COUNT - 1):
        clock.add(Exchange(k * 20_000_000, k * 20_000 + 50, k * 20_000_000 + 100_000))
    assert clock.fit is None
    assert clock.rate_ppm == 0


def test_a_line_through_one_fast_answer_and_slow_ones_is_not_good_yet() -> None:
    """The computer is busy: of its rate nothing is known, and half a second later that is a millisecond."""
    clock = BoardClock(tick_ns=1000)
    for k in range(READY_COUNT + 30):
        slow_ns = 100_000 if k == 3 or k > READY_COUNT + 10 else 40_000_000
        clock.add(Exchange(k * 20_000_000, k * 20_000 + slow_ns // 2000, k * 20_000_000 + slow_ns))
        if k == READY_COUNT:
            assert clock.fit is not None
            assert not clock.is_good
    assert clock.is_good
    assert clock.fit.u_ns < 100_000


def test_answers_without_a_time_of_their_own_fit_nothing() -> None:
    clock = BoardClock(tick_ns=1000)
    for _ in range(40):
        clock.add(Exchange(1000, 7, 1000))
    assert clock.fit is None
    for _ in range(40):
        clock.add(Exchange(1000, 7, 2000))
    assert clock.rate_ppm == 0, "what is the same moment over and over says nothing of the rate"


def test_a_counter_that_jumps_is_noticed() -> None:
    clock = BoardClock(tick_ns=1000)
    for k in range(60):
        jump = 50_000 if k >= 50 else 0
        clock.add(Exchange(k * 70_000_000, k * 70_000 + 50 + jump, k * 70_000_000 + 100_000))
        assert clock.has_jumped == (k >= 54)


def test_memory_is_bounded() -> None:
    clock, _ = asked(there=between(50, 60), back=between(50, 60), seed=1, seconds=150)
    answers = clock._answers
    assert len(answers) <= 800
    assert answers[-1].received_ns - answers[0].received_ns <= WINDOW_NS


@example(bits=16, start=65_530, steps=[4, 3, -2, 30_000, 30_000, 30_000])
@given(
    bits=st.sampled_from([16, 30, 32]),
    start=st.integers(0, 2**34),
    steps=st.lists(st.integers(-100, 2**15 - 101), max_size=60),
)
def test_a_counter_that_goes_round_is_followed(bits: int, start: int, steps: list[int]) -> None:
    unwrapped, truth = Unwrapped(bits), start
    offset = unwrapped.whole(start % 2**bits) - start
    last = start
    for step in steps:
        truth = max(last + step, start)
        assert unwrapped.whole(truth % 2**bits) - truth == offset
        last = max(last, truth)


@pytest.mark.parametrize("counter", [-1, 2**30, 2**32])
def test_a_counter_beyond_its_round_is_refused(counter: int) -> None:
    with pytest.raises(ValueError, match="is not below its round of 1073741824"):
        Unwrapped(30).whole(counter)
