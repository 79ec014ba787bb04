from __future__ import annotations

import cv2
import numpy as np
import pytest

from logger.config import Boat
from logger.vision.live.scene import EmptyTank
from logger.vision.live.things import Size, Thing, things
from tests.logger.vision.live.test_scene import floor, water, with_box

WHERE = floor()
STEP_MM = WHERE.plane.step_mm(WHERE.plane.foot_mm) * 4
BOAT = Boat("toy", length_mm=120.0, width_mm=60.0)


def found(picture: np.ndarray, boat: Boat = BOAT, *, turn_rad: float = 0.0) -> list[Thing]:
    seen = EmptyTank(WHERE, water(WHERE)).compared(picture)
    return things(seen, WHERE, Size(boat, STEP_MM), turn_rad=turn_rad)


def line(picture: np.ndarray, a: tuple[float, float], b: tuple[float, float], width: int) -> np.ndarray:
    ends = np.round(WHERE.pixels(np.array([a, b]))).astype(int)
    return cv2.line(picture.copy(), ends[0].tolist(), ends[1].tolist(), (90, 120, 190), width)


def test_in_empty_water_there_is_nothing() -> None:
    assert found(water(WHERE)) == []


def test_a_box_of_the_cards_size_is_found_to_a_millimetre_with_its_axis_and_colour() -> None:
    (one,) = found(with_box(water(WHERE), WHERE, 600.0, 50.0))
    assert one.place_mm == pytest.approx((600.0, 50.0), abs=2.5)
    assert abs(one.axis_rad) < 0.05
    assert one.elongation == pytest.approx(2.0, rel=0.15)
    assert one.size_fit > 0.6
    assert one.strength > 0.5
    assert one.colour == pytest.approx((20, 20, 200), abs=25)
    assert not one.is_held


def test_the_nearer_to_the_boats_size_the_better_it_fits() -> None:
    small, right, large = (
        found(with_box(water(WHERE), WHERE, 600.0, 50.0), Boat("toy", length_mm=side, width_mm=side / 2))[0]
        for side in (60.0, 120.0, 260.0)
    )
    assert right.size_fit > 2 * small.size_fit
    assert right.size_fit > 2 * large.size_fit


def test_a_thing_on_an_arm_is_held_and_one_beside_an_arm_is_not() -> None:
    boat = with_box(water(WHERE), WHERE, 600.0, 0.0)
    held = found(line(boat, (600.0, 0.0), (600.0, 900.0), 12))
    assert held[0].is_held
    beside = found(line(boat, (900.0, 100.0), (900.0, 900.0), 12))
    nearest = min(beside, key=lambda one: abs(one.place_mm[0] - 600))
    assert not nearest.is_held


def test_a_straw_at_the_stern_hardly_moves_the_place() -> None:
    (one, *_) = found(line(with_box(water(WHERE), WHERE, 600.0, 0.0), (545.0, 0.0), (380.0, 60.0), 1))
    assert one.place_mm == pytest.approx((600.0, 0.0), abs=6.0)


def test_a_shadow_beside_the_boat_hardly_moves_the_place() -> None:
    picture = water(WHERE)
    shade = with_box(np.zeros_like(picture), WHERE, 615.0, 25.0, (255, 255, 255)) > 0
    picture[shade] = (0.6 * picture[shade]).astype(np.uint8)
    (one, *_) = found(with_box(picture, WHERE, 600.0, 0.0))
    assert one.place_mm == pytest.approx((600.0, 0.0), abs=4.0)


def test_a_boat_that_looks_like_a_shadow_is_a_boat() -> None:
    (one, *_) = found(with_box(water(WHERE), WHERE, 600.0, 0.0, (90, 84, 72)))
    assert one.place_mm == pytest.approx((600.0, 0.0), abs=2.5)


def test_two_boats_are_two_things_and_one_is_one() -> None:
    one = with_box(water(WHERE), WHERE, 400.0, 0.0)
    assert len(found(one)) == 1
    assert len(found(with_box(one, WHERE, 900.0, 100.0))) == 2


def test_a_size_without_a_card_is_guessed_and_fits_everything() -> None:
    size = Size(Boat("unknown"), STEP_MM)
    assert size.fit(1.0, 1.0, 1.0) == size.fit(1e5, 1e3, 1e3) > 0.5
