from __future__ import annotations

import cv2
import numpy as np

from logger.config import Line, Tank
from logger.records import Frame
from logger.vision.live.scene import EmptyTank, Floor, reduced
from logger.vision.plane import Plane
from tests.logger.vision.painted import camera

TANK = Tank(((-100.0, -400.0), (1300.0, -400.0), (1300.0, 400.0), (-100.0, 400.0)), 80.0)
START = Line("start", "start", (100.0, -400.0), (100.0, 400.0))


def floor(*, start: Line | None = START) -> Floor:
    return Floor(Plane(camera(), 20.0), TANK, start)


def water(where: Floor, *, level=(150, 140, 120)) -> np.ndarray:
    rng = np.random.default_rng(3)
    return np.clip(np.array(level) + rng.normal(0, 1.5, (*where.shape, 3)), 0, 255).astype(np.uint8)


def with_box(picture: np.ndarray, where: Floor, x_mm: float, y_mm: float, colour=(20, 20, 200)) -> np.ndarray:
    corners = where.pixels(np.array([(x_mm - 60, y_mm - 30), (x_mm + 60, y_mm - 30), (x_mm + 60, y_mm + 30),
                                     (x_mm - 60, y_mm + 30)]))  # fmt: skip
    return cv2.fillConvexPoly(picture.copy(), np.round(corners).astype(np.int32), colour)


def test_the_small_picture_is_the_same_from_a_jpeg_and_from_the_picture() -> None:
    image = cv2.resize(np.random.default_rng(1).integers(60, 200, (12, 20, 3), np.uint8), (1280, 720))
    packed = cv2.imencode(".jpg", image, (cv2.IMWRITE_JPEG_QUALITY, 95))[1].tobytes()
    one, other = reduced(Frame(0, image, 0, "camera", jpeg=packed)), reduced(Frame(0, image, 0, "camera"))
    assert one.shape == other.shape == (180, 320, 3)
    assert np.abs(one.astype(int) - other).mean() < 3


def test_a_grey_picture_serves_as_well() -> None:
    assert reduced(Frame(0, np.full((720, 1280), 90, np.uint8), 0, "camera")).shape == (180, 320, 3)


def test_places_and_pixels_are_inverse_and_the_cut_holds_the_tank() -> None:
    where = floor()
    places = np.array([(0.0, -300.0), (600.0, 0.0), (1200.0, 350.0)])
    np.testing.assert_allclose(where.at(where.pixels(places)), places, atol=0.5)
    inside = where.pixels(np.array(TANK.outline_mm))
    assert (inside > -1).all()
    assert (inside < np.array(where.shape[::-1])).all()


def test_boats_wait_behind_the_start_line_and_a_little_beyond() -> None:
    where = floor()
    assert where.zone is not None
    at = np.round(where.pixels(np.array([(0.0, 0.0), (150.0, 100.0), (250.0, 0.0)]))).astype(int)
    assert [bool(where.zone[v, u]) for u, v in at] == [True, True, False]


def test_the_boat_that_waits_in_the_first_picture_stands_out() -> None:
    where = floor()
    first = with_box(water(where), where, 10.0, 0.0)
    seen = EmptyTank(where, first).compared(first)
    boat = with_box(np.zeros((*where.shape, 3), np.uint8), where, 10.0, 0.0, (255, 255, 255))[..., 0] > 0
    assert seen.evidence[boat].mean() > 0.8
    assert seen.evidence[~boat].mean() < 0.01


def test_a_boat_with_the_grey_of_the_floor_stands_out_by_its_colour() -> None:
    where = floor()
    level = 0.114 * 150 + 0.587 * 140 + 0.299 * 120  # the weights of ITU-R BT.601, red green blue
    green = (60, round((level - 0.114 * 60 - 0.299 * 60) / 0.587), 60)
    later = with_box(water(where), where, 600.0, 0.0, green)
    assert np.ptp(cv2.cvtColor(later, cv2.COLOR_BGR2GRAY)) < 15
    u, v = np.round(where.pixels(np.array([[600.0, 0.0]]))[0]).astype(int)
    assert EmptyTank(where, water(where)).compared(later).evidence[v, u] > 0.8


def test_a_step_of_the_light_is_no_difference() -> None:
    where = floor()
    empty = EmptyTank(where, water(where))
    seen = empty.compared((water(where) * np.array([0.7, 0.75, 0.8])).astype(np.uint8))
    assert seen.evidence.max() < 0.5
    assert seen.evidence.mean() < 0.003


def test_the_tank_is_renewed_but_not_under_the_boat() -> None:
    where = floor()
    empty = EmptyTank(where, water(where))
    later = with_box(with_box(water(where), where, 600.0, 0.0), where, 900.0, 200.0)
    boat = with_box(np.zeros((*where.shape, 3), np.uint8), where, 600.0, 0.0, (255, 255, 255))[..., 0]
    for _ in range(250):
        empty.renew(empty.compared(later), boat)
    seen = empty.compared(later).evidence
    (u, v), (u2, v2) = np.round(where.pixels(np.array([(600.0, 0.0), (900.0, 200.0)]))).astype(int)
    assert seen[v, u] > 0.8
    assert seen[v2, u2] < 0.1


def test_what_was_hidden_in_the_first_picture_is_taken_as_it_is_when_seen_free() -> None:
    where = floor()
    tiled = with_box(water(where), where, 10.0, 0.0, (120, 120, 110))
    empty = EmptyTank(where, with_box(tiled, where, 10.0, 0.0))
    empty.renew(empty.compared(tiled), np.zeros(where.shape, np.uint8))
    assert empty.compared(tiled).evidence.max() < 0.2


def test_a_place_that_flickers_counts_less() -> None:
    where = floor()
    empty, nothing = EmptyTank(where, water(where)), np.zeros(where.shape, np.uint8)
    u, v = np.round(where.pixels(np.array([[800.0, -100.0]]))[0]).astype(int)
    before = 0.0
    for k in range(120):
        picture = with_box(water(where), where, 800.0, -100.0, (185, 180, 160)) if k % 2 else water(where)
        seen = empty.compared(picture)
        before = before or float(seen.evidence[v, u])
        empty.renew(seen, nothing)
    assert seen.evidence[v, u] < 0.7 * before


def test_a_hand_beside_the_boat_in_the_first_picture_stays_unknown_until_it_is_gone() -> None:
    where = floor()
    held = with_box(with_box(water(where), where, 10.0, 0.0), where, 10.0, 70.0, (90, 120, 190))
    empty = EmptyTank(where, held)
    boat, near = (np.zeros(where.shape, np.uint8) for _ in range(2))
    u, v = np.round(where.pixels(np.array([[10.0, 70.0]]))[0]).astype(int)
    near[v - 25 : v + 26, u - 25 : u + 26] = 255
    for _ in range(30):
        empty.renew(empty.compared(held), boat, near)
    assert empty.compared(held).evidence[v, u] > 0.8
    assert empty.compared(water(where)).evidence[v, u] < 0.2
    assert not empty.is_known
