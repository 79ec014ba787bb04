from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from calibration.quantity import Quantity, Source
from logger.results import speeds
from logger.results.budget import Owner
from logger.results.lines import ahead
from logger.results.motion import smooth


@pytest.fixture(scope="module")
def mark(shop: Any) -> Any:
    rig = shop.rig(last="mark")
    return ahead(rig.line("mark"), rig)


def cut_at_the_line(coasting: Any, rate: float = 0.5) -> Any:
    """The bow (100 mm ahead of the middle) is at the mark, 1200 mm, after 4 s; power is cut there at 300 mm/s."""
    return lambda t: coasting(t, cut_s=4.0, speed=300.0, rate=rate, at_mm=1100.0)


def test_the_doubt_of_a_line_cancels_as_far_as_it_moves_time_and_distance_together() -> None:
    distance = Quantity(1200.0, "mm", {Source("finish line place"): 1.0})
    time = Quantity(4.0, "s", {Source("finish line place"): 1.0 / 300})
    assert speeds.mean(distance, time).value == pytest.approx(0.3)
    assert speeds.mean(distance, time).u < 1e-12  # constant speed: the place of the line does not matter


def test_where_power_is_cut_the_corner_of_the_speed_is_kept(shop: Any, coasting: Any, mark: Any) -> None:
    """Over many runs the speed at the corner is right within its doubt; read straight off it would be 1 % low."""
    owner, errors, straight, told = Owner("run-1", shop.boat()), [], [], []
    for seed in range(40):
        motion = smooth(shop.track(cut_at_the_line(coasting), seed=seed))
        found = speeds.at_line(motion, mark, owner=owner, corner=True)
        errors.append(found.value - 0.3)
        told.append(found.u)
        straight.append(motion.states_at(4.0)[0, 1] / 1e3 - 0.3)
    assert np.mean(straight) < -0.0015
    assert abs(np.mean(errors)) < 0.0008
    assert np.std(errors) < 1.4 * np.mean(told)


def test_without_a_corner_both_readings_are_the_same(shop: Any, mark: Any) -> None:
    owner = Owner("run-1", shop.boat())
    motion = smooth(shop.track(lambda t: 300 * t - 100))
    with_corner, without = (speeds.at_line(motion, mark, owner=owner, corner=c) for c in (True, False))
    assert without.value == pytest.approx(0.3, abs=3 * without.u)
    assert with_corner.value == pytest.approx(without.value, abs=2 * without.u)


def test_power_cut_long_before_the_line_makes_no_corner_there(shop: Any, coasting: Any, mark: Any) -> None:
    way = lambda t: coasting(t, cut_s=3.0, speed=400.0, rate=0.8, at_mm=1100.0 - 400 / 0.8 * (1 - np.exp(-0.8)))  # noqa: E731
    motion = smooth(shop.track(way))
    found = speeds.at_line(motion, mark, owner=Owner("r", shop.boat()), corner=True)
    assert found.value == pytest.approx(0.4 * np.exp(-0.8), abs=3 * found.u)


def test_a_scale_that_is_off_moves_the_speed_by_as_much(shop: Any, mark: Any) -> None:
    t = np.arange(0, 8, 1 / 30)
    shifts = {"camera height": np.column_stack([0.002 * (300 * t - 100), np.zeros_like(t)])}
    motion = smooth(shop.track(lambda t: 300 * t - 100, shifts_mm=shifts))
    found = speeds.at_line(motion, mark, owner=Owner("r", shop.boat()), corner=False)
    part = next(c for s, c in found.contributions.items() if s.name == "camera height")
    assert part == pytest.approx(0.002 * 0.3, rel=0.05)


def test_top_speed_is_a_mean_over_a_quarter_of_a_second(shop: Any) -> None:
    """A sine of the speed, 200 + 100·sin(2πt): its best quarter second has 200 + 100·sin(π/4)/(π/4) = 290.03."""
    way = lambda t: 200 * t - 100 / (2 * np.pi) * np.cos(2 * np.pi * t)  # noqa: E731
    motion = smooth(shop.track(way, noise_mm=0.01))
    assert speeds.greatest(motion, 0.5, 7.5) == pytest.approx(0.29003, rel=6e-3)


def test_a_stretch_shorter_than_the_window_is_taken_whole(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 200 * t, noise_mm=0.01))
    assert speeds.greatest(motion, 2.0, 2.1) == pytest.approx(0.2, rel=0.01)


def test_a_boat_that_never_came_has_no_speed_there(shop: Any, mark: Any) -> None:
    missing = speeds.at_line(smooth(shop.track(lambda t: 20 * t)), mark, owner=Owner("r", shop.boat()), corner=True)
    assert not missing
    assert "did not see the bow reach the mark line" in missing.reason
