from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.results import swing
from logger.results.motion import smooth


def test_a_bow_that_swings_by_ten_degrees_either_way(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 150 * t, heading=lambda t: np.radians(10) * np.sin(t), until_s=7))
    assert swing.swing_deg(motion, 0, 7) == pytest.approx(20, abs=0.5)
    assert swing.swing_deg(motion, 0, 1) == pytest.approx(10 * np.sin(1), abs=0.5)
    drawn = [swing.swing_deg(one, 0, 7) for one in motion.draws(50, seed=1)]
    assert 0.01 < np.std(drawn) < 0.5


def test_time_below_a_speed_is_read_between_pictures(shop: Any) -> None:
    """x = 50·t²: 100·t mm/s, below 25 mm/s for the first quarter of a second."""
    motion = smooth(shop.track(lambda t: 50 * t**2, until_s=4, noise_mm=0.01))
    assert swing.slow_s(motion, 0, 3, below_mm_per_s=25) == pytest.approx(0.25, abs=0.02)
    assert swing.slow_s(motion, 0.1, 3, below_mm_per_s=25) == pytest.approx(0.15, abs=0.02)
    assert swing.slow_s(motion, 1, 3, below_mm_per_s=25) == 0


def test_a_boat_that_stands_for_two_seconds(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 200 * np.where(t < 2, t, np.maximum(2, t - 2)), until_s=6))
    assert swing.slow_s(motion, 0.5, 5.5, below_mm_per_s=10) == pytest.approx(2, abs=0.15)


def test_a_stretch_that_ends_where_the_boat_gets_slow_has_no_time_stuck_in_the_last_digits(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 300 * -np.expm1(-t), until_s=6))
    speed = motion.speed_mm_per_s
    for limit in np.linspace(5, 40, 36):
        i = int(np.flatnonzero(speed < limit)[0])
        share = (speed[i - 1] - limit) / (speed[i - 1] - speed[i])
        over_s = float(motion.time_s[i - 1] + share * (motion.time_s[i] - motion.time_s[i - 1]))
        assert swing.slow_s(motion, 1.0, over_s, below_mm_per_s=limit) == 0.0


def without(track: Any, from_s: float, until_s: float) -> Any:
    since_s = (track.t_ns - track.t_ns[0]) / 1e9
    kept = (since_s < from_s) | (since_s > until_s)
    rows = ("t_ns", "x_mm", "y_mm", "heading_rad", "noise_mm2", "u_heading_rad", "quality", "frame")
    shifts = {name: moved[kept] for name, moved in track.shifts_mm.items()}
    return replace(track, shifts_mm=shifts, **{row: getattr(track, row)[kept] for row in rows})


@pytest.mark.parametrize("stops_s", [3.05, 3.15, 3.25])
def test_a_wall_while_pictures_are_lost_leaves_the_time_stuck_in_doubt_by_as_much(shop: Any, stops_s: float) -> None:
    """200 mm/s to the wall, then nothing; the pictures from 3.0 to 3.3 s are lost, so nobody saw when."""
    whole = shop.track(lambda t: 200 * np.minimum(t, stops_s), until_s=6)
    seen = without(whole, 3.0, 3.3)
    motion = smooth(seen)
    found = swing.slow_s(motion, 0.5, 5.9, below_mm_per_s=10)
    u_s = swing.u_slow_s(motion, seen, 0.5, 5.9, below_mm_per_s=10)
    assert abs(found - (5.9 - stops_s)) < 2 * u_s
    assert 0.1 < u_s < 0.3
    assert swing.u_slow_s(smooth(whole), whole, 0.5, 5.9, below_mm_per_s=10) < 0.08
    assert swing.u_slow_s(motion, seen, 0.5, 2.5, below_mm_per_s=10) == 0.0
