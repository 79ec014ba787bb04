from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.light_pattern import Pattern, Switches, hats, levels, searched_s

MS = 1_000_000


def switches(*moments_ms: int, first_on: bool = True) -> Switches:
    at = np.array(moments_ms, np.int64) * MS
    return Switches(at, at + 2, (np.arange(len(at)) % 2 == 0) == first_on)


def test_a_switch_that_changes_nothing_is_no_turn() -> None:
    at = np.arange(5, dtype=np.int64)
    turns = Switches(at, at, np.array([True, True, False, False, True])).turns()
    assert turns.before_ns.tolist() == [0, 2, 4]
    assert turns.on.tolist() == [True, False, True]


def test_the_lit_part_of_a_window_is_its_overlap_with_the_time_on() -> None:
    pattern = Pattern(switches(100, 300), np.array([0, 400], np.int64) * MS)
    middles = np.array([0.05, 0.1, 0.102, 0.2, 0.295, 0.3, 0.5])
    assert pattern.lit(middles, 0.020) == pytest.approx([0, 0.5, 0.6, 1, 0.75, 0.5, 0], abs=1e-6)


def test_before_the_first_switch_the_light_was_the_other_way() -> None:
    pattern = Pattern(switches(100, first_on=False), np.array([0, 400], np.int64) * MS)
    assert pattern.lit(np.array([-5.0, 0.05, 0.2, 9.0]), 0.01) == pytest.approx([1, 1, 0, 0])


def test_the_nearest_switch_is_the_nearest() -> None:
    pattern = Pattern(switches(100, 300, 900), np.array([0, 1000], np.int64) * MS)
    assert pattern.nearest(np.array([0.0, 0.19, 0.21, 0.61, 2.0])).tolist() == [0, 0, 1, 2, 2]


def test_the_scatter_of_the_stamps_is_told_apart_from_dropped_pictures() -> None:
    rng = np.random.default_rng(4)
    stamps = np.arange(900) * 33.3e-3 + rng.normal(0, 1.5e-3, 900)
    kept = np.sort(stamps[rng.random(900) > 0.1])
    pattern = Pattern(switches(100, 300), np.rint(kept * 1e9).astype(np.int64))
    assert pattern.scatter_s == pytest.approx(1.5e-3, rel=0.12)


def test_the_correlation_is_greatest_at_the_delay() -> None:
    rng = np.random.default_rng(2)
    moments = np.cumsum(rng.integers(180, 700, 40))
    frames = np.arange(0, int(moments[-1]), 25, dtype=np.int64) * MS
    late = Pattern(switches(*(moments + 150).tolist()), frames)
    bright = np.stack([10 + 90 * late.lit(late.claimed_s, 0.01), rng.normal(0, 1, len(frames))], axis=1)
    found = Pattern(switches(*moments.tolist()), frames)
    delays = searched_s(2e-3)
    correlation, step = found.correlation(bright, width_s=0.01, delays_s=delays)
    best = int(np.argmax(correlation[:, 0]))
    assert delays[best] == pytest.approx(0.150, abs=2.1e-3)
    assert correlation[best, 0] > 0.99
    assert step[best, 0] == pytest.approx(90, rel=0.03)
    assert abs(correlation[:, 1]).max() < 0.5


@given(st.lists(st.floats(0, 100), min_size=2, max_size=50, unique=True))
def test_straight_pieces_sum_to_one(times: list[float]) -> None:
    t = np.sort(np.array(times))
    if t[-1] - t[0] > 1e-3:
        assert hats(t).sum(axis=1) == pytest.approx(1)


def test_levels_are_found_under_a_drift_and_a_hand() -> None:
    rng = np.random.default_rng(3)
    t = np.arange(0, 20, 0.04)
    lit = (t % 1.0) < 0.5
    bright = 60 + 15 * np.sin(0.4 * t) + 80 * lit + rng.normal(0, 0.8, len(t))
    bright[100:105] = 0
    found = levels(t, bright, lit=lit, use=np.ones(len(t), bool))
    whole = np.r_[0:100, 105 : len(t)]
    assert found.step == pytest.approx(80, rel=0.01)
    assert np.abs(found.lit[whole] - lit[whole]).max() < 0.1
    assert found.noise == pytest.approx((0.01, 0.01), rel=0.5)
