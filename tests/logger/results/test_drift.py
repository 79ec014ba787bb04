from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.config import Rules, Tank
from logger.results import drift
from logger.results.lines import ahead
from logger.results.motion import smooth


def coast_at(shop: Any, **asked: Any) -> drift.Coast:
    rig = shop.rig(last="mark")
    return drift.Coast(
        **({"line": ahead(rig.line("mark"), rig), "tank": rig.tank, "rules": Rules(), "until_s": np.inf} | asked)
    )


def ended(motion: Any, coast: drift.Coast) -> tuple[drift.End, float]:
    bow = coast.bow_for(motion)
    over = drift.end(motion, coast, bow, from_s=4.0)
    return over, drift.past_mm(motion, coast, bow, over.time_s)


def test_a_coast_ends_where_the_boat_stays_slower_than_the_rule(shop: Any, coasting: Any) -> None:
    """dv/dt = −v: from 300 to 10 mm/s in ln 30 = 3.401 s and over 300 − 10 = 290 mm."""
    motion = smooth(shop.track(lambda t: coasting(t, cut_s=4.0, speed=300.0, rate=1.0, at_mm=1100.0), until_s=12))
    end, way = ended(motion, coast_at(shop))
    assert (end.reason, end.at_least) == ("at_rest", False)
    assert end.time_s == pytest.approx(4 + np.log(30), abs=0.05)
    assert way == pytest.approx(290, abs=0.5)


def test_a_lull_shorter_than_the_stop_time_is_no_rest(shop: Any) -> None:
    def way(t: Any) -> Any:  # stands from 5.0 to 5.6 s, then from 7 s on
        return 1100 + 100 * (np.minimum(t, 5.0) - 4) + 100 * np.clip(t - 5.6, 0, 1.4)

    motion = smooth(shop.track(way, until_s=11, noise_mm=0.1))
    assert ended(motion, coast_at(shop))[0].time_s == pytest.approx(7.0, abs=0.1)
    quick = coast_at(shop, rules=Rules(stop_for_s=0.3))
    assert ended(motion, quick)[0].time_s == pytest.approx(5.0, abs=0.15)


def test_at_the_wall_it_is_a_lower_bound(shop: Any) -> None:
    """The bow starts at the mark after 4 s and touches (5 mm margin) after 795 mm at 200 mm/s."""
    motion = smooth(shop.track(lambda t: np.minimum(200 * t + 300, 1900.0), until_s=12))
    end, way = ended(motion, coast_at(shop))
    assert (end.reason, end.at_least) == ("wall", True)
    assert end.time_s == pytest.approx(4 + 795 / 200, abs=0.02)
    assert way == pytest.approx(795, abs=0.5)


@pytest.mark.parametrize("reason", ["time_cap", "stopped_by_hand"])
def test_time_up_or_a_hand_ends_it_earlier(shop: Any, reason: Any) -> None:
    motion = smooth(shop.track(lambda t: 100 * t + 700, until_s=12))
    end, way = ended(motion, coast_at(shop, until_s=7.0, until_reason=reason))
    assert (end.time_s, end.reason, end.at_least) == (7.0, reason, True)
    assert way == pytest.approx(300, abs=0.5)


def test_a_recording_that_ends_too_early_says_so(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 100 * t + 700, until_s=6))
    end, _ = ended(motion, coast_at(shop))
    assert (end.reason, end.at_least) == ("recording_ended", True)


def test_room_to_the_walls_of_an_l_shaped_tank() -> None:
    tank = Tank(((0.0, 0.0), (100.0, 0.0), (100.0, 40.0), (40.0, 40.0), (40.0, 100.0), (0.0, 100.0)), 50.0)
    points = np.array([[20.0, 50.0], [70.0, 20.0], [30.0, 30.0], [60.0, 60.0], [-5.0, 50.0]])
    assert drift.room_mm(points, tank) == pytest.approx([20, 20, np.hypot(10, 10), -20, -5])


def test_the_end_does_not_hang_on_where_the_tank_lies(shop: Any, coasting: Any) -> None:
    track = shop.track(lambda t: coasting(t, cut_s=4.0, speed=300.0, rate=1.0, at_mm=1100.0), until_s=12)
    rig = shop.rig(last="mark")
    far = tuple((x, y + 5000.0) for x, y in rig.tank.outline_mm)
    here = ended(smooth(track), coast_at(shop))
    moved = replace(track, y_mm=track.y_mm + 5000.0)
    there = ended(smooth(moved), coast_at(shop, tank=Tank(far, 100.0)))
    assert there[1] == pytest.approx(here[1], abs=1e-4)
