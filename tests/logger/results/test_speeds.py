from __future__ import annotations

from dataclasses import replace
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


def at_line(track: Any, mark: Any, shop: Any, *, power_cut: bool) -> Any:
    return speeds.at_line(smooth(track), track, mark, owner=Owner("run-1", shop.boat()), power_cut=power_cut)


def test_where_power_is_cut_the_corner_of_the_speed_is_kept(shop: Any, coasting: Any, mark: Any) -> None:
    """Over many runs the speed at the corner is right within its doubt; read straight off it would be 1 % low."""
    errors, straight, told = [], [], []
    for seed in range(40):
        track = shop.track(cut_at_the_line(coasting), seed=seed)
        found = at_line(track, mark, shop, power_cut=True)
        errors.append(found.value - 0.3)
        told.append(found.u)
        straight.append(smooth(track).states_at(4.0)[0, 1] / 1e3 - 0.3)
    assert np.mean(straight) < -0.0015
    assert abs(np.mean(errors)) < 0.5 * abs(np.mean(straight))
    assert 0.6 < np.sqrt(np.mean(np.square(errors)) / np.mean(np.square(told))) < 1.4


def test_power_cut_late_by_a_reaction_is_found_out(shop: Any, coasting: Any, mark: Any) -> None:
    """0.12 s after the line: at the line the boat still has all its speed."""
    z = []
    for seed in range(20):
        way = lambda t: coasting(t, cut_s=4.12, speed=300.0, rate=0.8, at_mm=1136.0)  # noqa: E731
        found = at_line(shop.track(way, seed=seed), mark, shop, power_cut=True)
        z.append((found.value - 0.3) / found.u)
    assert np.sqrt(np.mean(np.square(z))) < 1.4


def test_without_a_corner_both_readings_are_the_same(shop: Any, mark: Any) -> None:
    track = shop.track(lambda t: 300 * t - 100)
    with_corner, without = (at_line(track, mark, shop, power_cut=c) for c in (True, False))
    assert without.value == pytest.approx(0.3, abs=3 * without.u)
    assert with_corner.value == pytest.approx(without.value, abs=2 * with_corner.u)


def test_power_cut_long_before_the_line_makes_no_corner_there(shop: Any, coasting: Any, mark: Any) -> None:
    way = lambda t: coasting(t, cut_s=3.0, speed=400.0, rate=0.8, at_mm=1100.0 - 400 / 0.8 * (1 - np.exp(-0.8)))  # noqa: E731
    found = at_line(shop.track(way), mark, shop, power_cut=True)
    assert found.value == pytest.approx(0.4 * np.exp(-0.8), abs=3 * found.u)


def test_a_wall_soon_after_the_line_does_not_reach_back_to_it(shop: Any, mark: Any) -> None:
    """Bow at the line after 4 s, at a wall 0.5 s later, thrown back at a quarter of its speed."""
    way = lambda t: np.where(t < 4.5, 300 * t - 100, 1250.0 - 75 * (t - 4.5))  # noqa: E731
    with_wall = at_line(shop.track(way), mark, shop, power_cut=False)
    without = at_line(shop.track(lambda t: 300 * t - 100), mark, shop, power_cut=False)
    assert with_wall.value == pytest.approx(0.3, abs=3 * with_wall.u)
    assert with_wall.u < 2 * without.u


def test_too_few_pictures_on_one_side_of_the_line_are_told(shop: Any, mark: Any) -> None:
    track = shop.track(lambda t: 300 * t - 100, until_s=4.06)
    missing = at_line(track, mark, shop, power_cut=False)
    assert not missing
    assert "too few pictures before or after the mark line" in missing.reason


def test_a_scale_that_is_off_moves_the_speed_by_as_much(shop: Any, mark: Any) -> None:
    t = np.arange(0, 8, 1 / 30)
    shifts = {"camera height": np.column_stack([0.002 * (300 * t - 100), np.zeros_like(t)])}
    found = at_line(shop.track(lambda t: 300 * t - 100, shifts_mm=shifts), mark, shop, power_cut=False)
    part = next(c for s, c in found.contributions.items() if s.name == "camera height")
    assert part == pytest.approx(0.002 * 0.3, rel=0.05)


def test_top_speed_is_a_mean_over_a_quarter_of_a_second(shop: Any) -> None:
    """A sine of the speed, 200 + 100·sin(2πt): its best quarter second has 200 + 100·sin(π/4)/(π/4) = 290.03."""
    way = lambda t: 200 * t - 100 / (2 * np.pi) * np.cos(2 * np.pi * t)  # noqa: E731
    motion = smooth(shop.track(way, noise_mm=0.01))
    assert speeds.greatest(motion, 0.5, 7.5) == pytest.approx(0.29003, rel=6e-3)


def test_top_speed_of_a_breathing_boat_is_right_within_its_doubt(shop: Any) -> None:
    """200 + 6·sin(2t) mm/s for 6.5 s: its best quarter second has 200 + 6·sin(1/4)/(1/4) = 205.94."""
    way = lambda t: 200 * t - 3 * np.cos(2 * t)  # noqa: E731
    z = []
    for seed in range(30):
        track = shop.track(way, seed=seed)
        found = speeds.top(smooth(track), track, 0.5, 7.0, owner=Owner("run-1", shop.boat()))
        assert found is not None
        z.append((found.value - 0.20594) / found.u)
    assert 0.5 < np.sqrt(np.mean(np.square(z))) < 1.4


def test_too_few_pictures_after_the_top_leave_it_to_the_curve(shop: Any) -> None:
    track = shop.track(lambda t: 100 * t + 20 * t * t, until_s=4.0)
    motion = smooth(track)
    assert speeds.top(motion, track, 3.9, 3.99, owner=Owner("run-1", shop.boat())) is None


def test_a_stretch_shorter_than_the_window_is_taken_whole(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 200 * t, noise_mm=0.01))
    assert speeds.greatest(motion, 2.0, 2.1) == pytest.approx(0.2, rel=0.01)


def test_a_boat_that_never_came_has_no_speed_there(shop: Any, mark: Any) -> None:
    missing = at_line(shop.track(lambda t: 20 * t), mark, shop, power_cut=True)
    assert not missing
    assert "did not see the bow reach the mark line" in missing.reason


def test_the_fastest_window_may_end_where_pictures_come_again(shop: Any) -> None:
    """Faster by 400 mm/s² until 4 s, slower by 800 mm/s² after it; nothing seen from 3.7 to 3.95 s. By eye: of the
    quarter second, b s lie before the top, with 400·b = 800·(0.25 - b): b = 1/6, and the mean is 800 - 400·b/2 mm/s."""

    def way(t: Any) -> Any:
        since = t - 4.0
        return 800 * since + np.where(since < 0, 200, -400) * since**2

    whole = shop.track(way, until_s=4.9, noise_mm=0.05)
    time = (whole.t_ns - whole.t_ns[0]) / 1e9
    seen = (time >= 2.5) & ((time < 3.7) | (time > 3.95))
    names = ("t_ns", "x_mm", "y_mm", "heading_rad", "noise_mm2", "u_heading_rad", "quality", "frame")
    motion = smooth(replace(whole, **{name: getattr(whole, name)[seen] for name in names}))
    _, begin, mean = speeds._fastest(motion, 0.2, 2.2)
    assert mean == pytest.approx(800 - 400 / 12, rel=0.004)
    assert 0.0 < begin < 1.5
