from __future__ import annotations

import numpy as np
import pytest

from logger.vision.tag.fit import TagFit
from logger.vision.tag.foresight import FASTEST_MM_PER_S, Course, nearest


def seen(x_mm: float, heading_rad: float = 0.0) -> TagFit:
    return TagFit(np.array([x_mm, 5.0]), heading_rad, np.eye(3), 0.95, 0.5, 0.9, 0.3, 100.0)


def course(way, *, step_s: float = 1 / 30, count: int = 5) -> Course:
    made = Course()
    for k in range(count):
        made.add(k * step_s, seen(way(k * step_s)))
    return made


def test_a_steady_boat_is_carried_on_and_back() -> None:
    pose, rates = course(lambda t: 600 * t).at(0.2)
    assert pose == pytest.approx([120, 5, 0], abs=1e-6)
    assert rates == pytest.approx([600, 0, 0], abs=1e-6)
    back, _ = course(lambda t: -600 * t, step_s=-1 / 30).at(-0.2)
    assert back == pytest.approx([120, 5, 0], abs=1e-6)


def test_a_boat_that_sets_off_is_carried_on_with_its_gain_of_speed() -> None:
    pose, rates = course(lambda t: 750 * t**2).at(5 / 30)
    assert pose[0] == pytest.approx(750 / 36, rel=1e-3)
    assert rates[0] == pytest.approx(1500 * 5 / 30, rel=1e-3)


def test_what_no_boat_does_is_not_carried_on() -> None:
    made = course(lambda t: 2 * FASTEST_MM_PER_S * t)
    pose, rates = made.at(0.2)
    assert pose[0] == pytest.approx(2 * FASTEST_MM_PER_S * made.last_s)
    assert not rates.any()


def test_headings_go_on_over_the_half_turn() -> None:
    made = Course()
    for k, heading in enumerate((3.0, 3.1, -3.083)):
        made.add(k / 30, seen(0.0, heading))
    assert made.at(2 / 30)[0][2] == pytest.approx(3.2, abs=0.01)
    assert nearest(-3.083, 3.1) == pytest.approx(3.2, abs=0.001)


def test_a_new_start_forgets() -> None:
    made = course(lambda t: 600 * t)
    assert made
    assert not Course()
    made.start(1.0, seen(7.0))
    assert made.last_s == 1.0
    assert made.at(2.0)[0][0] == 7.0
