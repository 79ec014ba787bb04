from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from logger.vision.tag.look import Print
from logger.vision.tag.search import Seeker, likeness
from tests.logger.vision.tag.print_painted import DISC, SQUARE, empty, paint, plane

ON = plane()
TANK = np.array([[-200.0, -450.0], [1400.0, -450.0], [1400.0, 450.0], [-200.0, 450.0]])
PLACE, HEADING = np.array([850.0, 140.0]), -2.5


def seeker(tag) -> Seeker:
    return Seeker(Print(tag), ON, TANK)


def test_likeness_is_what_opencv_says() -> None:
    rng = np.random.default_rng(4)
    light = cv2.GaussianBlur(rng.normal(0, 60, (90, 140)).astype(np.float32), (0, 0), 1.5)
    template, mask = rng.random((15, 15), np.float32), rng.random((15, 15), np.float32)
    mask[:4, :6] = 0
    light -= light.mean()
    (ours, _, _), theirs = (
        likeness(light, template, mask),
        cv2.matchTemplate(light, template, cv2.TM_CCOEFF_NORMED, mask=mask),
    )
    assert np.ptp(theirs) > 0.5
    assert np.abs(ours - theirs).max() < 1e-3


def test_likeness_tells_how_much_darker_ink_is() -> None:
    template, mask = np.zeros((15, 15), np.float32), np.ones((15, 15), np.float32)
    template[5:10] = 1  # paper between two bars of ink
    light = np.full((40, 50), 20, np.float32)
    light[8:23, 12:27] -= 60 * (1 - template)
    like, depth, paper = likeness(light - 3, template, mask)
    assert like[8, 12] == pytest.approx(1.0, abs=0.01)
    assert depth[8, 12] == pytest.approx(60, abs=0.1)
    assert paper[8, 12] == pytest.approx(17, abs=0.1)


@pytest.mark.parametrize("tag", [SQUARE, DISC], ids=["square", "disc"])
def test_the_only_print_in_a_picture_is_found(tag) -> None:
    seen = seeker(tag).whole(paint(empty(), ON, tag, place_mm=PLACE, heading_rad=HEADING))
    assert len(seen.fits) == 1
    assert np.hypot(*(seen.fits[0].place_mm - PLACE)) < 0.1


def test_a_number_that_cannot_be_read_is_found_by_its_look() -> None:
    covered = paint(
        empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING, cover=lambda down, across: abs(down - across) < 0.07
    )
    looks = seeker(SQUARE)
    assert looks.whole(covered).fits == ()
    found = looks.alike(covered).fits
    assert len(found) == 1
    assert np.hypot(*(found[0].place_mm - PLACE)) < 0.4


def test_another_number_is_told_and_not_taken() -> None:
    seen = seeker(SQUARE).whole(paint(empty(), ON, replace(SQUARE, number=3), place_mm=PLACE, heading_rad=HEADING))
    assert seen.fits == ()
    assert [sign.number for sign in seen.others] == [3]


def test_a_print_beside_the_tank_is_not_the_boats() -> None:
    picture = paint(empty(), ON, SQUARE, place_mm=PLACE, heading_rad=0.1)
    short = Seeker(Print(SQUARE), ON, TANK * (0.5, 1.0))  # it ends at x = 700
    assert short.whole(picture).fits == ()
    assert short.alike(picture).fits == ()


def test_it_is_found_again_some_way_from_where_it_should_be() -> None:
    picture = paint(empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING)
    found = seeker(SQUARE).near(
        picture, PLACE + np.array([55.0, -30.0]), HEADING + np.array([-0.2, 0.0, 0.2]), reach_mm=80.0
    )
    assert found is not None
    assert np.hypot(*(found.place_mm - PLACE)) < 0.1


@pytest.mark.parametrize("tag", [SQUARE, DISC], ids=["square", "disc"])
def test_of_two_prints_alike_none_is_taken(tag) -> None:
    picture = paint(empty(), ON, tag, place_mm=PLACE, heading_rad=HEADING)
    picture = paint(picture, ON, tag, place_mm=PLACE + np.array([90.0, 0.0]), heading_rad=HEADING, seed=1)
    assert seeker(tag).near(picture, PLACE + np.array([40.0, 0.0]), np.array([HEADING]), reach_mm=90.0) is None
