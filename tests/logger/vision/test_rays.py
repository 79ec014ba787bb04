from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.vision.light import PLAIN
from logger.vision.rays import noise_of, outside, read, relit, repainted, weights
from tests.logger.vision.test_hull import hull


def test_a_brighter_picture_is_brought_to_the_light_of_the_empty_one() -> None:
    water = np.full((2, 5, 10), 100.0)
    seen = np.stack([water[0] * 1.3, water[1] * 0.5]).astype(np.float32)
    seen[:, :, :4] = 20
    beyond = np.arange(10) >= 6
    assert relit(seen, water, beyond)[:, :, 5:] == pytest.approx(np.full((2, 5, 5), 100.0), rel=1e-5)


def test_a_black_picture_shows_nothing() -> None:
    water = np.full((1, 5, 10), 100.0)
    assert np.isnan(relit(np.zeros((1, 5, 10), np.float32), water, np.arange(10) >= 6)).all()


def test_what_is_odd_or_unknown_counts_less_or_nothing() -> None:
    worth = weights(np.array([0.0, 3.0, 30.0, np.nan]), np.ones(4))
    assert worth == pytest.approx([1, 0.5, 1 / 101, 0])


def test_noise_is_the_spread_over_the_pictures_with_a_floor() -> None:
    rng = np.random.default_rng(1)
    residual = rng.normal(0, 4, (400, 3, 4))
    residual[:20] = 500
    assert noise_of(residual) == pytest.approx(np.full((3, 4), 4.0), rel=0.25)
    assert noise_of(np.zeros((5, 3, 4))).min() > 0


def test_only_samples_beyond_every_wall_are_outside() -> None:
    boat = hull()
    beyond = outside(boat, np.array([[2.0, 12.0]]))
    assert boat.offsets_mm[beyond].min() > 12 + 2 * boat.blur_mm
    assert outside(boat, np.array([[500.0]])).sum() == 3


def test_the_deck_takes_its_light_from_the_pictures_and_goes_on_beyond_the_edge() -> None:
    boat = hull()
    shape = (9, *boat.deck.shape)
    seen = np.where(boat.offsets_mm < 0, 77.0, 150.0) * np.ones(shape)
    painted = repainted(boat, seen, wall_shade=0.6)
    assert painted.deck == pytest.approx(np.full(boat.deck.shape, 77.0))


@pytest.mark.parametrize("shade", [0.6, 1.0])
def test_a_wall_of_which_nothing_is_known_is_first_taken_for_a_shaded_deck(shade: float) -> None:
    boat = replace(hull(), wall=np.full(len(hull().wall), np.nan))
    painted = repainted(boat, np.full((9, *boat.deck.shape), 50.0), wall_shade=shade)
    assert painted.wall == pytest.approx(np.full(len(boat.wall), 50 * shade))


def test_what_something_covers_is_not_known() -> None:
    picture = np.full((20, 30), 200, np.uint8)
    columns, rows = np.full((2, 3, 4), 5.0), np.full((2, 3, 4), 6.0)
    columns[1] = 25.0
    open_ = read([picture, picture], columns, rows, tone=PLAIN, covered=None)
    seen = read([picture, picture], columns, rows, tone=PLAIN, covered=lambda u, v: u > 20)
    assert np.isfinite(open_).all()
    assert np.isnan(seen[1]).all()
    assert np.array_equal(seen[0], open_[0])
