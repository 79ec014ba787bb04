from __future__ import annotations

import cv2
import numpy as np

from logger.vision.hues import PAIRS, HueFilm, hue


def test_a_shadow_keeps_the_floors_hue_and_a_coloured_boat_does_not() -> None:
    floor, boat = np.array([150.0, 140.0, 120.0]), np.array([60.0, 140.0, 45.0])
    picture = np.tile(floor, (20, 60, 1))
    picture[:, 20:40] = floor * 0.7
    picture[:, 40:] = boat
    seen = hue(picture.astype(np.uint8), (1, 2)).astype(float)
    assert abs(seen[:, 20:40].mean() - seen[:, :20].mean()) < 3
    assert seen[:, 40:].mean() - seen[:, :20].mean() > 50


def test_two_colours_alike_are_in_the_middle_and_never_run_over() -> None:
    assert (hue(np.full((4, 4, 3), 90, np.uint8), (0, 2)) == 128).all()
    for pair in PAIRS:
        for far in ([0, 255, 0], [255, 0, 0], [0, 0, 255]):
            seen = hue(np.full((4, 4, 3), far, np.uint8), pair)
            assert seen.min() == seen.max()


def test_the_film_shows_the_hues_of_anothers_pictures_in_order() -> None:
    class Film:
        count = 5

        def in_colour(self, wanted):
            return {n: np.full((4, 6, 3), (40, 10 * n, 40), np.uint8) for n in wanted if n != 3}

    shown = dict(HueFilm(Film(), (1, 2)).pictures([4, 1, 3]))
    assert list(shown) == [1, 4]
    assert shown[4].mean() > shown[1].mean()
    assert len(dict(HueFilm(Film(), (1, 2)).pictures())) == 4
    # the ratio of logarithms, by OpenCV's own: numbers a factor apart differ by the gain times its logarithm
    one, other = np.full((1, 1), 40 + 12, np.float32), np.full((1, 1), 80 + 12, np.float32)
    expected = 128 + 110 * float((cv2.log(one) - cv2.log(other))[0, 0])
    assert hue(np.array([[[40, 40, 80]]], np.uint8), (1, 2))[0, 0] == int(expected)
