"""Painted pictures laid over each other as the boat lies: water is 0 there, a thing is where it was painted."""

from __future__ import annotations

import numpy as np
import pytest

from logger.vision.touch.surroundings import Course, Surroundings
from tests.logger.vision import pushed


def course(place_mm: np.ndarray, *, scatter_rad: float = 0.0) -> Course:
    count = len(place_mm)
    heading = np.random.default_rng(5).normal(0, scatter_rad, count) if scatter_rad else np.zeros(count)
    return Course(np.arange(count), np.arange(count) / pushed.RATE_HZ, place_mm, heading, pushed.OUTLINE_MM)


def around(place_mm: np.ndarray, *things: pushed.Thing, scatter_rad: float = 0.0) -> Surroundings:
    film = pushed.Film(place_mm, *things)
    return Surroundings(film, pushed.DECK, pushed.TANK_MM, course(place_mm, scatter_rad=scatter_rad))


def test_water_differs_from_the_empty_tank_by_noise_only() -> None:
    window = around(pushed.way())
    first, second = window.seen(np.array([60, 70]))
    away = window.away_mm(65)
    beside = away > 12
    for picture in (first, second):
        known = beside & np.isfinite(picture).all(axis=-1)
        assert known.sum() > 0.8 * beside.sum()
        assert np.abs(np.median(picture[known])) < 0.005
        assert np.std(picture[known]) < 0.06  # numbers with a noise of 1.2 of 170, bent by 2.2, and a moved tape edge
        assert np.median(picture[away == 0]) < -0.4, "the deck is dark"


@pytest.mark.parametrize("scatter_rad", [0.0, 0.1], ids=["steady", "a round boat's heading"])
def test_a_thing_is_seen_where_it_is_beside_the_boat(scatter_rad: float) -> None:
    window = around(pushed.way(), pushed.straw(width_px=5), scatter_rad=scatter_rad)
    rows = np.array([61, 63, 65, 67])
    seen = window.seen(rows)
    both = np.median(seen, axis=0)
    away = window.away_mm(64)
    changed = (np.abs(both).max(axis=-1) > 0.3) & (away > 20)
    assert away[changed].min() < 30
    low = pushed.OUTLINE_MM.min(axis=0) - 140
    points = np.argwhere(changed)[:, ::-1] * window.step_mm + low - [pushed.STERN_MM, 0.0]
    # the straw runs from the stern along (-0.6, 0.8)
    assert np.median(np.abs(points @ [0.8, 0.6])) < 10


def test_beyond_the_tank_nothing_is_known() -> None:
    place = pushed.way(start_mm=400.0)
    window = around(place)
    (last,) = window.seen(np.array([119]))
    assert np.isnan(last[:, -1]).all()
    assert np.isfinite(last[len(last) // 2, 5]).all()


def test_a_boat_that_never_leaves_its_place_hides_the_water() -> None:
    place = np.tile([[300.0, 0.0]], (pushed.COUNT, 1))
    assert around(place).seen(np.array([50, 60, 61])) == []


def test_a_hull_lies_where_the_course_says() -> None:
    turned = Course(np.arange(1), np.zeros(1), np.array([[5.0, 7.0]]), np.array([np.pi / 2]), np.array([[10.0, 0.0]]))
    assert turned.hull(0) == pytest.approx(np.array([[5.0, 17.0]]))


def test_the_side_that_is_seen_below_the_deck_is_part_of_the_hull() -> None:
    """Of a boat 600 mm from the lens's foot the stern's waterline is seen nearer to it: freeboard over lens height."""
    place = np.tile(pushed.DECK.foot_mm + np.array([600.0, 0.0]), (3, 1))
    window = around(place)
    away = window.away_mm(1)
    hull = np.flatnonzero(away[len(away) // 2] == 0)
    first, last = hull[[0, -1]] * window.step_mm + pushed.OUTLINE_MM[:, 0].min() - 140
    reach = pushed.TOY.freeboard_mm / pushed.DECK.height_mm * (600 + pushed.STERN_MM)
    assert reach > 2 * window.step_mm
    assert first == pytest.approx(pushed.STERN_MM - reach, abs=window.step_mm)
    assert last == pytest.approx(pushed.OUTLINE_MM[:, 0].max(), abs=window.step_mm)
