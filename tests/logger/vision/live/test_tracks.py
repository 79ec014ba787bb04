from __future__ import annotations

import math

import numpy as np
import pytest

from logger.vision.live.things import Thing
from logger.vision.live.tracks import Tracks

FRAME_NS = 33_333_333
RED, PALE = (20.0, 20.0, 200.0), (200.0, 210.0, 210.0)


def thing(x_mm: float, y_mm: float, *, fit=0.9, strength=0.7, colour=RED, held=False, axis_rad=0.0) -> Thing:
    return Thing((0.0, 0.0), (x_mm, y_mm), axis_rad, 2.0, strength, fit, colour, held)


def waiting(tracks: Tracks, count: int, *others: Thing) -> None:
    for n in range(count):
        tracks.feed([thing(0, 0), *others], [True, *[False] * len(others)], n * FRAME_NS)


def place(tracks: Tracks) -> tuple[float, float]:
    assert tracks.boat is not None
    return tracks.boat.x_mm, tracks.boat.y_mm


def test_what_waits_in_the_zone_is_the_boat_and_what_lies_elsewhere_is_not() -> None:
    tracks = Tracks(200.0, 0.0)
    waiting(tracks, 20, thing(700, 100, strength=1.0, fit=1.0))
    assert place(tracks) == pytest.approx((0, 0), abs=1)
    assert not tracks.has_rival


def test_what_lies_elsewhere_alone_is_nothing_until_it_moves() -> None:
    tracks = Tracks(200.0, 0.0)
    for n in range(10):
        tracks.feed([thing(700, 0)], [False], n * FRAME_NS)
    assert tracks.boat is None
    for n in range(10, 30):
        tracks.feed([thing(700 + 10 * (n - 10), 0)], [False], n * FRAME_NS)
    assert place(tracks)[0] > 850


def test_noise_is_smoothed_and_the_speed_is_found() -> None:
    tracks, rng = Tracks(200.0, 0.0), np.random.default_rng(2)
    for n in range(60):
        x, y = np.array([8.0 * n, 2.0 * n]) + rng.normal(0, 3, 2)
        tracks.feed([thing(x, y)], [n < 10], n * FRAME_NS)
    assert tracks.boat is not None
    assert tracks.boat.vx_mm_per_s == pytest.approx(240, abs=40)
    assert tracks.boat.vy_mm_per_s == pytest.approx(60, abs=40)
    assert place(tracks) == pytest.approx((472, 118), abs=5)


def test_a_glint_in_the_way_is_not_followed() -> None:
    tracks = Tracks(200.0, 0.0)
    for n in range(40):
        seen = [thing(10.0 * n, 0), thing(300, 40, colour=PALE, strength=0.9, fit=0.2)]
        tracks.feed(seen, [n < 10, False], n * FRAME_NS)
    assert place(tracks) == pytest.approx((390, 0), abs=3)


def test_a_short_gap_is_crossed_by_the_motion() -> None:
    tracks = Tracks(200.0, 0.0)
    for n in range(60):
        found = [] if 40 <= n < 48 else [thing(10.0 * n, 0)]
        tracks.feed(found, [n < 10] * len(found), n * FRAME_NS)
    assert len(tracks.followed) == 1
    assert place(tracks)[0] == pytest.approx(590, abs=3)
    assert tracks.boat is not None
    assert tracks.boat.streak_count == 12


def test_a_boat_unseen_for_long_is_forgotten() -> None:
    tracks = Tracks(200.0, 0.0)
    waiting(tracks, 20)
    for n in range(20, 60):
        tracks.feed([], [], n * FRAME_NS)
    assert tracks.boat is None


def test_a_second_thing_as_good_elsewhere_is_a_rival_and_one_on_the_boat_itself_is_not() -> None:
    tracks = Tracks(200.0, 0.0)
    for n in range(30):
        tracks.feed([thing(6.0 * n, 0), thing(6.0 * n, 400)], [True, True], n * FRAME_NS)
    assert tracks.has_rival
    tracks = Tracks(200.0, 0.0)
    for n in range(30):
        tracks.feed([thing(6.0 * n, 0), thing(6.0 * n + 40, 0)], [True, True], n * FRAME_NS)
    assert not tracks.has_rival


def test_a_held_thing_earns_less_and_does_not_count_as_moved() -> None:
    tracks = Tracks(200.0, 0.0)
    for n in range(30):
        tracks.feed([thing(5.0 * n, 0, held=True)], [True], n * FRAME_NS)
    assert tracks.boat is not None
    assert not tracks.boat.has_moved
    assert tracks.boat.credit < 0.3


def test_the_bow_points_down_the_tank_at_first_and_stays_when_a_wall_throws_the_boat_back() -> None:
    tracks = Tracks(200.0, math.pi)
    waiting(tracks, 5)
    assert tracks.boat is not None
    assert abs(tracks.boat.heading_rad) == pytest.approx(math.pi)
    for n in range(5, 40):
        tracks.feed([thing(-10.0 * (n - 5), 0)], [True], n * FRAME_NS)
    for n in range(40, 60):
        tracks.feed([thing(-340 + 4.0 * (n - 40), 0)], [True], n * FRAME_NS)
    assert math.cos(tracks.boat.heading_rad) < -0.99


def test_a_boat_that_goes_the_other_way_from_the_beginning_is_turned_round() -> None:
    tracks = Tracks(200.0, 0.0)
    for n in range(40):
        tracks.feed([thing(-10.0 * n, 0)], [True], n * FRAME_NS)
    assert tracks.boat is not None
    assert math.cos(tracks.boat.heading_rad) < -0.99


def test_the_boat_and_what_moves_are_kept_out_of_the_empty_tank() -> None:
    tracks = Tracks(200.0, 0.0)
    for n in range(30):
        tracks.feed([thing(0, 0), thing(400 + 8.0 * n, 300, strength=0.3), thing(900, -300)], [True, False, False],
                    n * FRAME_NS)  # fmt: skip
    kept = tracks.kept_free(29 * FRAME_NS)
    assert sorted(round(y / 100) for _, y, _ in kept) == [0, 3]


def test_a_glint_that_dances_elsewhere_has_not_moved() -> None:
    tracks, rng = Tracks(200.0, 0.0), np.random.default_rng(5)
    for n in range(60):
        x, y = np.array([900.0, 100.0]) + rng.normal(0, 15, 2)
        tracks.feed([thing(x, y, colour=PALE)], [False], n * FRAME_NS)
    assert tracks.boat is None


def test_a_boat_at_rest_stands_more_still_than_what_is_seen_of_it() -> None:
    tracks, rng, found = Tracks(200.0, 0.0), np.random.default_rng(6), []
    for n in range(200):
        tracks.feed([thing(*rng.normal(0, 3, 2))], [True], n * FRAME_NS)
        found.append(place(tracks)[0])
    assert np.std(found[50:]) < 2.0


def test_what_is_farther_off_than_a_boat_can_go_in_one_picture_is_not_the_boat() -> None:
    tracks = Tracks(200.0, 0.0)
    waiting(tracks, 30)
    tracks.feed([thing(100, 0)], [True], 30 * FRAME_NS)
    assert place(tracks) == pytest.approx((0, 0), abs=1)
