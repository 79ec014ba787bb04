from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from logger.vision.watch.moves import Move, PutBack, levers, put_back
from tests.logger.vision.yard import seen, shifted, yard

SIZE = (360, 640)
BOX = (40, 30, 600, 330)


def move(*field: float) -> Move:
    return Move(np.array([*field, *[0.0] * (8 - len(field))]), np.eye(8) * 1e-4, True, SIZE)


def test_a_shift_moves_every_place_alike_and_a_turn_each_by_its_distance_from_the_middle() -> None:
    places = np.array([[320.0, 180.0], [640.0, 180.0], [320.0, 340.0]])
    assert np.allclose(move(1.5, -2.0).at(places), (1.5, -2.0))
    # a turn by 0.01 rad about the middle, numbers in half widths (320 px): from columns toward rows
    turned = move(0.0, 0.0, 0.0, -3.2, 3.2, 0.0).at(places)
    assert np.allclose(turned, [[0, 0], [0, 3.2], [-1.6, 0]])
    assert levers(places, SIZE).shape == (3, 2, 8)
    assert np.allclose(move(1.0).covariance_at(places[:1])[0], np.eye(2) * 1e-4)


def test_only_a_known_move_of_nothing_is_still() -> None:
    assert move().is_still
    assert not move(0.2).is_still
    assert not Move(np.zeros(8), np.eye(8), False, SIZE).is_still


@pytest.mark.parametrize("shift", [(3.0, -2.0), (2.3, -1.4), (-0.25, 0.5)])
def test_a_shifted_picture_is_put_back_in_the_box_and_left_as_it_is_outside(shift: tuple[float, float]) -> None:
    picture = seen(shifted(yard(), *shift), noise=0)
    back = put_back(picture, move(*shift), BOX)
    left, top, right, bottom = BOX
    inner = np.s_[top:bottom, left:right]
    away = np.abs(picture.astype(float) - yard())[inner].mean()
    assert np.abs(back.astype(float) - yard())[inner].mean() < 0.35 * away
    outside = np.ones(SIZE, bool)
    outside[inner] = False
    assert np.array_equal(back[outside], picture[outside])


@pytest.mark.parametrize("field", [(1.3, -0.7, 0.2, 0.1, -0.15, 0.3), (1.3, -0.7, 6.0, 2.0, -5.0, 4.0, 0.05, 0.02)])
def test_tiles_and_the_warp_of_steep_moves_read_where_the_move_says(field: tuple[float, ...]) -> None:
    # reference: scipy's linear interpolation at the very places, in floating point
    noise = np.random.default_rng(4).normal(0, 1, SIZE)
    picture = np.clip(np.round(128 + 300 * cv2.GaussianBlur(noise, (0, 0), 3)), 0, 255).astype(np.uint8)
    left, top, right, bottom = BOX
    inner = np.s_[top:bottom, left:right]
    rows, columns = np.mgrid[0:360, 0:640].astype(float)
    places = np.stack([columns, rows], axis=-1)[inner]
    from_px = places + move(*field).at(places)
    true = map_coordinates(picture.astype(float), [from_px[..., 1], from_px[..., 0]], order=1, mode="nearest")
    off = put_back(picture, move(*field), BOX)[inner] - true
    down, across = np.gradient(true)
    beside = np.linalg.lstsq(np.column_stack([across.ravel(), down.ravel()]), off.ravel(), rcond=None)[0]
    assert np.abs(beside).max() < 0.01
    assert np.sqrt((off**2).mean()) < 0.02 * true.std()


def test_colour_is_put_back_as_grey_is() -> None:
    picture = seen(shifted(yard(), 1.4, 0.6))
    colour = put_back(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR), move(1.4, 0.6, 0.3), BOX)
    assert np.abs(colour.astype(int) - put_back(picture, move(1.4, 0.6, 0.3), BOX)[..., None]).max() <= 1


def test_upper_rows_are_put_back_as_far_as_they_go() -> None:
    picture = seen(shifted(yard(), 1.4, -2.6))
    whole, upper = (put_back(p, move(1.4, -2.6), (40, 30, 600, len(p[:200]))) for p in (picture, picture[:200]))
    assert upper.shape == (200, 640)
    assert np.array_equal(upper[:196], whole[:196])


@pytest.mark.parametrize("field", [(1.4, -2.6), (3.0, 1.0, 0.4, -0.3, 0.3, 0.2), (9.0, 4.0, 9.0, -12.0, 12.0, 9.0)])
@pytest.mark.parametrize("colours", [1, 3])
def test_a_window_is_put_back_as_all_of_it_is(field: tuple[float, ...], colours: int) -> None:
    picture = yard().astype(np.uint8) if colours == 1 else np.dstack([yard().astype(np.uint8)] * 3)
    lazily, whole = PutBack(picture, move(*field), BOX), put_back(picture, move(*field), BOX)
    assert len(lazily) == len(whole) == 360
    for window in (
        (slice(100, 180), slice(200, 330)),
        (slice(0, 40), slice(0, 50)),
        (slice(320, 500), slice(590, 900)),
        (slice(None), slice(None)),
    ):
        assert np.array_equal(lazily[window], whole[window])
    assert lazily[400:410, 30:50].size == 0
    assert (whole != picture).any()


def test_the_picture_that_is_put_back_stays_as_it_is() -> None:
    picture = yard().astype(np.uint8)
    before = picture.copy()
    assert not np.array_equal(PutBack(picture, move(2.5, 1.5), BOX)[:, :], before)
    assert np.array_equal(picture, before)
