from __future__ import annotations

import cv2
import numpy as np
import pytest

from logger.vision.hueless import BRIGHTNESS, NEARNESS, Hueless, OthersAsFloor, Uncoloured, floor_hue, tells
from tests.logger.vision.test_survey import Film

BLUE, SAND, GREY = (206, 184, 146), (150, 186, 204), (168, 170, 168)
ORANGE, GREEN = (50, 120, 226), (96, 176, 86)


def filled(bgr: tuple[int, int, int], shape: tuple[int, int] = (24, 32)) -> np.ndarray:
    return np.full((*shape, 3), bgr, np.uint8)


def look(floor: tuple[int, int, int]) -> Hueless:
    hue = floor_hue([filled(floor)], None)
    assert hue is not None
    return Hueless(hue)


@pytest.mark.parametrize("floor", [BLUE, SAND])
def test_foil_of_any_light_is_told_from_a_coloured_floor_of_any_light(floor: tuple[int, int, int]) -> None:
    near = look(floor)
    foil = np.repeat(np.arange(90, 250, dtype=np.uint8)[None, :, None], 3, axis=2)
    shaded = (filled(floor) * 0.6).astype(np.uint8)
    assert np.ptp(near(foil).astype(int)) <= 1
    assert near(foil).max() <= 61
    for water in (filled(floor), shaded):
        assert near(water).min() > 60 + 0.8 * near.far
    assert near.far > 25


def test_the_floors_place_is_the_logarithm_of_its_colours() -> None:
    """By OpenCV's own logarithm."""
    logs = 110 * cv2.log(np.array([BLUE], np.float32) + 12)[0]
    assert look(BLUE).floor == pytest.approx((logs[0] - logs[2], logs[1] - logs[2]), abs=0.01)


def test_a_floor_without_hue_tells_nothing() -> None:
    grey = floor_hue([filled(GREY)], None)
    assert grey is not None
    assert not tells(grey)
    assert tells(look(BLUE).floor)
    assert tells(look(SAND).floor)
    assert floor_hue([], None) is None


@pytest.mark.parametrize("third", [ORANGE, GREEN])
@pytest.mark.parametrize("floor", [BLUE, SAND])
def test_sails_are_third_things_and_say_nothing(floor: tuple[int, int, int], third: tuple[int, int, int]) -> None:
    near = look(floor)
    assert (near(filled(third)) == 0).all()
    assert np.isnan(NEARNESS.light(near(filled(third)))).all()
    film = OthersAsFloor(Film([near(filled(third)), near(filled(floor))]), near)
    assert film.count == 2
    (_, as_floor), (_, bare) = film.pictures()
    assert np.abs(as_floor.astype(int) - bare).max() <= 1
    assert [number for number, _ in film.pictures([1])] == [1]


def test_a_picture_of_many_rows_shows_what_each_of_its_parts_does() -> None:
    picture = np.random.default_rng(5).integers(0, 256, (90, 1300, 3), np.uint8)
    near, bare = look(SAND), Uncoloured(look(SAND).floor)
    for how in (near, bare):
        rows = np.vstack([how(picture[row : row + 1]) for row in range(90)])
        assert np.array_equal(how(picture), rows)
        assert np.array_equal(how(picture[20:70, 300:900]), how(picture)[20:70, 300:900])


def test_half_a_pixel_of_foil_is_half_way() -> None:
    """Light is mixed as numbers to the power of 2.2 (common practice, no source)."""
    near = look(BLUE)
    foil = np.array((172, 174, 174), np.float64)
    mixed = (0.5 * foil**2.2 + 0.5 * np.array(BLUE, np.float64) ** 2.2) ** (1 / 2.2)
    deck, between, water = (
        float(near(filled(tuple(np.round(c).astype(int).tolist())))[0, 0]) for c in (foil, mixed, np.array(BLUE))
    )
    assert (between - deck) / (water - deck) == pytest.approx(0.5, abs=0.06)


def test_only_water_is_looked_at() -> None:
    picture = filled(BLUE, (240, 320))
    picture[:, :200] = SAND
    tank = np.zeros((60, 80), bool)
    tank[:, 55:] = True
    assert floor_hue([picture], tank) == pytest.approx(look(BLUE).floor, abs=0.01)


@pytest.mark.parametrize("floor", [BLUE, SAND, GREY])
def test_without_what_is_coloured_brightness_stays_and_sails_say_nothing(floor: tuple[int, int, int]) -> None:
    """The brightness is OpenCV's own."""
    hue = floor_hue([filled(floor)], None)
    assert hue is not None
    bare = Uncoloured(hue)
    for plain in (filled(floor), filled((228, 232, 232)), filled((60, 60, 60))):
        assert np.array_equal(bare(plain), cv2.cvtColor(plain, cv2.COLOR_BGR2GRAY))
    for third in (ORANGE, GREEN):
        assert np.isnan(BRIGHTNESS.light(bare(filled(third)))).all()
