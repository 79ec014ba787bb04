from __future__ import annotations

import cv2
import numpy as np
import pytest

from logger.vision.light import PLAIN, mixing

RED, GREEN, FLOOR = (40, 35, 185), (60, 140, 45), (190, 200, 205)


def test_half_the_light_of_white_is_picture_number_186() -> None:
    """0.5^(1/2.2)·255 = 186.1; IEC 61966-2-1's exact curve says 187.5 (from memory)."""
    assert float(PLAIN.light(np.full((1, 1), 186, np.uint8))[0, 0]) == pytest.approx(127.4, abs=0.2)
    assert float(PLAIN.light_between(np.array([186.05], np.float32))[0]) == pytest.approx(127.5, abs=0.1)


def test_the_unknown_stays_unknown() -> None:
    assert np.isnan(PLAIN.light_between(np.array([np.nan], np.float32))).all()


@pytest.mark.parametrize("boat", [RED, GREEN, (38, 36, 36), (228, 232, 232)])
@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_light_of_a_mixed_pixel_tells_the_shares_of_boat_and_water(boat: tuple[int, ...], share: float) -> None:
    """The pixel's grey is OpenCV's own sum of its colours (ITU-R BT.601)."""
    ends = (np.array([FLOOR, boat]) / 255) ** 2.2
    mixed = 255 * ((1 - share) * ends[0] + share * ends[1]) ** (1 / 2.2)
    pixels = np.array([[FLOOR, boat, mixed]], np.float32) / 255
    water, deck, between = mixing(boat, FLOOR).light_between(255 * cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY))[0]
    assert (between - water) / (deck - water) == pytest.approx(share, abs=0.012)


def test_the_plain_curve_would_misplace_the_edge_of_a_red_boat_by_more() -> None:
    ends = (np.array([FLOOR, RED]) / 255) ** 2.2
    mixed = 255 * (0.5 * ends.sum(axis=0)) ** (1 / 2.2)
    greys = np.array([FLOOR, RED, mixed]) @ (0.114, 0.587, 0.299)
    water, deck, between = PLAIN.light_between(greys.astype(np.float32))
    assert abs((between - water) / (deck - water) - 0.5) > 0.03


def test_light_grows_with_every_picture_number() -> None:
    for boat in (RED, GREEN):
        assert np.diff(mixing(boat, FLOOR).of).min() >= 0


def test_colours_of_one_grey_have_no_straight_mixture_and_leave_the_plain_curve() -> None:
    yellow_like_the_floor = (35, 214, 215)
    assert mixing(yellow_like_the_floor, (190, 190, 190)) is PLAIN


@pytest.mark.parametrize(("boat", "bent"), [(RED, True), ((38, 36, 36), False)])
def test_a_walls_light_bends_against_the_water_s_only_if_it_is_coloured(boat: tuple[int, ...], bent: bool) -> None:
    tone = mixing(boat, FLOOR)
    water, wall = (np.array([FLOOR, boat]) / 255) ** 2.2 * [[1], [0.55]]
    mixed = np.array([water, wall, (water + wall) / 2])
    from_water, from_wall, between = tone.light_between(255 * (mixed ** (1 / 2.2)) @ (0.114, 0.587, 0.299))
    seems = (between - from_water) / (from_wall - from_water)
    assert seems == pytest.approx(0.5 + tone.wall_bend / 4, abs=0.01)
    assert (abs(tone.wall_bend) > 0.05) is bent
