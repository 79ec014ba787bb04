"""A painted boat with a straw or without, pushed or not: told only if both are so."""

from __future__ import annotations

import numpy as np
import pytest

from logger.vision.touch.touches import is_reached, lasting, may_be_reached, touches
from logger.vision.track import DOUBTFUL
from tests.logger.vision import pushed

WHAT = {"deck": pushed.DECK, "tank_mm": pushed.TANK_MM, "outline_mm": pushed.OUTLINE_MM}


def told(place_mm: np.ndarray, *things: pushed.Thing, **of_track: int) -> tuple:
    return touches(pushed.track(place_mm, **of_track), pushed.Film(place_mm, *things), **WHAT)


@pytest.mark.parametrize("by", [100.0, -80.0])
def test_a_straw_that_pushes_is_told_with_its_time_and_what_it_did(by: float) -> None:
    (found,) = told(pushed.way(by), pushed.straw())
    seconds = (np.array([found.from_ns, found.to_ns]) - pushed.FIRST_NS) / 1e9
    assert seconds == pytest.approx(pushed.PUSH_S, abs=0.1)
    assert found.change_mm_per_s == pytest.approx(abs(by), rel=0.2)


def test_what_has_the_floors_light_is_seen_by_its_colour() -> None:
    """Grey 170 by ITU-R BT.601, as the floor, but of skin's hue."""
    colour = (140, 165, 195)
    assert 0.114 * colour[0] + 0.587 * colour[1] + 0.299 * colour[2] == pytest.approx(171, abs=1)
    assert len(told(pushed.way(), pushed.straw(colour=colour, width_px=5))) == 1


def test_a_push_with_nobody_near_is_no_touch() -> None:
    film = pushed.Film(pushed.way())
    assert touches(pushed.track(pushed.way()), film, **WHAT) == ()
    assert film.decoded_count <= 8 + 13, "nothing is there: the pictures before need not be looked at"


def test_a_straw_at_a_boat_that_goes_on_as_before_is_no_touch() -> None:
    film = pushed.Film(pushed.way(0.0), pushed.straw())
    assert touches(pushed.track(pushed.way(0.0)), film, **WHAT) == ()
    assert film.decoded_count == 0, "nothing happened: no picture need be looked at"


def test_a_straw_that_stays_behind_the_boat_is_no_touch() -> None:
    assert told(pushed.way(), pushed.straw(gap_mm=40.0)) == ()


def test_a_straw_that_was_there_before_is_no_touch() -> None:
    """A hand that holds the boat and lets it go; or one that only seems to lie over it all the time."""
    assert told(pushed.way(), pushed.straw(comes_s=0.5)) == ()
    assert told(pushed.way(), pushed.straw(comes_s=-1.0, goes_s=9.0)) == ()


def test_a_shadow_that_runs_by_is_no_touch() -> None:
    assert told(pushed.way(), pushed.shadow) == ()


def test_at_a_wall_nobody_is_accused() -> None:
    """The boat is pushed where its bow is 10 mm from the wall."""
    place = pushed.way(-150.0)
    near = pushed.TANK_MM.copy()
    near[1:3, 0] = place[round(pushed.PUSH_S[1] * pushed.RATE_HZ), 0] + pushed.OUTLINE_MM[:, 0].max() + 10.0
    film = pushed.Film(place, pushed.straw())
    assert touches(pushed.track(place), film, **(WHAT | {"tank_mm": near})) == ()
    assert len(touches(pushed.track(place), film, **WHAT)) == 1


def test_a_doubtful_track_accuses_nobody() -> None:
    assert told(pushed.way(), pushed.straw(), quality=DOUBTFUL) == ()


def test_what_only_flashes_is_not_lasting() -> None:
    """A glint in one picture of four, an arm in all of them; unknown in one is unknown."""
    pictures = [np.zeros((2, 3), np.float32) for _ in range(4)]
    pictures[1][0, 0] = 0.9
    for picture in pictures:
        picture[0, 1] = -0.5
    pictures[2][1, 2] = np.nan
    pictures[3][1, 0], pictures[0][1, 0] = 0.2, -0.2
    found = lasting(pictures)
    assert found[0].tolist() == pytest.approx([0.0, -0.5, 0.0])
    assert found[1, 0] == 0.0
    assert np.isnan(found[1, 2])


def field() -> tuple[np.ndarray, np.ndarray]:
    """Water around a hull of 60 x 20 points, 2 mm from point to point; its distances."""
    rows, columns = np.indices((160, 220))
    away = 2.0 * np.hypot(np.maximum(np.abs(rows - 80) - 10, 0), np.maximum(np.abs(columns - 110) - 30, 0))
    water = np.random.default_rng(2).normal(0, 0.01, (160, 220, 1))
    return water.astype(np.float32), away.astype(np.float32)


@pytest.mark.parametrize(
    ("first", "last", "is_touch"),
    [(141, 220, True), (160, 220, False), (141, 165, False)],
    ids=["from the rim to the hull", "not to the hull", "a sail at the hull"],
)
def test_a_thing_must_reach_from_afar_to_the_hull(first: int, last: int, is_touch: bool) -> None:
    now, away = field()
    now[78:82, first:last] = -0.4
    assert is_reached(now, field()[0], away, 2.0) is is_touch
    assert may_be_reached(now, away) is (first < 160)


def test_near_the_rim_less_is_far() -> None:
    """The water ends 60 mm beside the hull: an arm is seen over so much only."""
    now, away = field()
    now[78:82, 141:171] = -0.4
    assert not is_reached(now, field()[0], away, 2.0)
    now[:, 171:] = np.nan
    assert is_reached(now, field()[0], away, 2.0)
    assert may_be_reached(now, away)


def test_where_no_water_is_known_nothing_is_told() -> None:
    now, away = field()
    assert not is_reached(np.full_like(now, np.nan), now, away, 2.0)


def test_what_lies_all_around_the_hull_is_no_arm() -> None:
    """A shadow's edge, or a hull that was not laid right: it may reach as far as it likes."""
    now, away = field()
    now[78:82, 141:] = -0.4
    assert is_reached(now, field()[0], away, 2.0)
    now[away < 24] = -0.4
    assert not is_reached(now, field()[0], away, 2.0)
