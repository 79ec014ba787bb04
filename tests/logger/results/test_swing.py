from __future__ import annotations

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
