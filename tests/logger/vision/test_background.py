from __future__ import annotations

import numpy as np
import pytest

from logger.vision.background import away_from_boat, first_guess, foreign, light_of, median


def film(rest_share: float, count: int = 40) -> np.ndarray:
    """A dark square on light ground, at rest on the left for a share of the film, then off to the right and at rest."""
    stack = np.full((count, 20, 60), 180, np.uint8)
    for k in range(count):
        left = 4 if k < rest_share * count else min(4 + 6 * (k - round(rest_share * count)), 46)
        stack[k, 6:14, left : left + 10] = 40
    return stack


@pytest.mark.parametrize("rest_share", [0.2, 0.45, 0.65])
def test_a_boat_that_rests_for_most_of_the_run_does_not_become_floor(rest_share: float) -> None:
    zone = np.zeros((20, 60), bool)
    zone[:, :18] = True
    assert first_guess(film(rest_share), zone) == pytest.approx(np.full((20, 60), 180.0))


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 7, 8, 9, 16, 17, 28, 44])
def test_the_median_is_numpys_for_any_number_of_pictures(count: int) -> None:
    stack = np.random.default_rng(count).integers(0, 256, (count, 7, 9)).astype(np.uint8)
    assert np.array_equal(median(stack), np.median(stack, axis=0))


def test_without_a_start_zone_it_is_the_median() -> None:
    stack = film(0.65)
    assert first_guess(stack) == pytest.approx(np.median(stack, axis=0))
    assert first_guess(stack)[10, 8] == 40


def test_the_mean_away_from_the_boat_is_the_empty_picture_and_unknown_under_all_boats() -> None:
    pictures = [np.full((30, 60), 100, np.uint8) for _ in range(3)]
    for picture, u in zip(pictures, (10, 12, 14), strict=True):
        picture[10:20, u - 5 : u + 5] = 0
    empty = away_from_boat(pictures, [1.0, 1.0, 1.0], [(u, 15, 9.0) for u in (10, 12, 14)])
    assert np.isnan(empty[15, 12])
    assert empty[15, 2] == pytest.approx(100)
    assert np.nanmax(np.abs(empty - 100)) == 0


def test_a_hand_and_a_boat_not_known_of_in_the_start_zone_are_left_out() -> None:
    """Twelve pictures of a grey tank; in four a dark hand lies over the start zone's left edge."""
    zone = np.zeros((15, 30), bool)
    zone[:, :10] = True
    pictures = [np.full((60, 120), 100, np.uint8) for _ in range(12)]
    for picture in pictures[:4]:
        picture[20:40, :16] = 30
    small = [picture[2::4, 2::4] for picture in pictures]
    empty = np.full((15, 30), 100, np.float32)
    masks = [foreign(one, empty, zone, noise=1.0) for one in small]
    assert masks[0][5:10, :4].all()
    assert not masks[0][:, 8:].any()
    assert not masks[5].any()
    discs = [(90.0, 30.0, 10.0)] * 12
    assert away_from_boat(pictures, [1.0] * 12, discs)[30, 8] < 80
    assert np.nanmax(np.abs(away_from_boat(pictures, [1.0] * 12, discs, masks) - 100)) < 1e-3


def test_a_brighter_lamp_is_seen_as_such_although_a_boat_is_there() -> None:
    empty = np.full((60, 60), 100, np.float32)
    picture = np.full((60, 60), 120, np.uint8)
    picture[:20, :20] = 10
    assert light_of(picture, empty) == pytest.approx(1.2)
    assert light_of(picture, np.full((60, 60), np.nan, np.float32)) == 1.0
