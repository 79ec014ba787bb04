from __future__ import annotations

import cv2
import numpy as np

from logger.vision.hues import PAIRS, hue


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


def test_a_factor_between_two_colours_is_the_gain_times_its_logarithm() -> None:
    """The logarithms are OpenCV's own."""
    one, other = np.full((1, 1), 40 + 12, np.float32), np.full((1, 1), 80 + 12, np.float32)
    expected = 128 + 110 * float((cv2.log(one) - cv2.log(other))[0, 0])
    assert hue(np.array([[[40, 40, 80]]], np.uint8), (1, 2))[0, 0] == int(expected)


def test_foil_of_every_brightness_is_of_one_hue() -> None:
    crinkled = np.repeat(np.arange(90, 250, dtype=np.uint8)[None, :, None], 3, axis=2)
    blue_floor = np.array([[[206, 184, 146]]], np.uint8)
    for pair in PAIRS:
        seen = hue(crinkled, pair).astype(int)
        assert np.ptp(seen) <= 1
        assert hue(blue_floor, pair)[0, 0] - seen.max() > 18
