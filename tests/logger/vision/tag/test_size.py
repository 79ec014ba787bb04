from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.vision.tag.look import Print
from logger.vision.tag.search import Seeker, Seen
from logger.vision.tag.size import of_size, sharpness
from tests.logger.vision.tag.print_painted import DISC, SQUARE, empty, paint, plane
from tests.logger.vision.tag.test_search import TANK

ON = plane()
PLACE, HEADING = np.array([850.0, 140.0]), 0.4


def seen_as(told, painted):
    """(seeker, picture, what it sees): the card tells of one print, another is there."""
    picture = paint(empty(), ON, painted, place_mm=PLACE, heading_rad=HEADING)
    seeker = Seeker(Print(told), ON, TANK)
    found = seeker.at(picture, PLACE, HEADING)
    assert found is not None
    return seeker, picture, Seen((found,))


def test_a_disc_of_the_cards_size_is_the_boats() -> None:
    assert len(of_size(*seen_as(DISC, DISC)).fits) == 1


@pytest.mark.parametrize("times", [0.88, 1.14])
def test_a_disc_of_another_size_is_another_thing(times: float) -> None:
    assert of_size(*seen_as(DISC, replace(DISC, size_mm=times * DISC.size_mm))).fits == ()


def test_a_pale_thing_that_is_hardly_like_it_is_another_thing() -> None:
    seeker, picture, seen = seen_as(DISC, DISC)
    pale = replace(seen.fits[0], match_share=0.85, contrast=0.3)
    assert of_size(seeker, picture, Seen((pale,))).fits == ()
    assert len(of_size(seeker, picture, Seen((replace(pale, contrast=0.7),))).fits) == 1


def test_a_square_is_told_by_its_number_not_by_its_size() -> None:
    seeker, picture, seen = seen_as(SQUARE, replace(SQUARE, size_mm=0.88 * SQUARE.size_mm))
    assert of_size(seeker, picture, seen) is seen


@pytest.mark.parametrize("times", [0.97, 1.0, 1.03])
def test_how_large_a_print_seems_is_told(times: float) -> None:
    seeker, picture, seen = seen_as(SQUARE, replace(SQUARE, size_mm=times * SQUARE.size_mm))
    _, scale, u = sharpness(seeker, {0: picture}, {0: seen.fits[0]})
    assert scale == pytest.approx(times, abs=0.01)
    assert u < 0.03
