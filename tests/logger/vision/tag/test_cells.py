from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.vision.tag.cells import Told, told
from tests.logger.vision.tag.print_painted import SQUARE, empty, paint, plane

ON = plane()
PLACE, HEADING = np.array([480.0, -60.0]), 1.3


def says(picture, *, number=7, heading=HEADING) -> Told:
    return told(picture, ON, replace(SQUARE, number=number), place_mm=PLACE, heading_rad=heading)


def test_a_square_is_itself_and_no_other_number() -> None:
    picture = paint(empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING)
    assert says(picture) is Told.THIS
    assert {says(picture, number=n) for n in range(30) if n != 7} == {Told.OTHER}


@pytest.mark.parametrize("quarter", [1, 2, 3])
def test_it_does_not_lie_another_way_round(quarter: int) -> None:
    picture = paint(empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING)
    assert says(picture, heading=HEADING + quarter * np.pi / 2) is Told.OTHER


def test_under_a_hand_its_cells_say_nothing() -> None:
    hand = paint(empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING, cover=lambda down, across: down > 0.45)
    assert says(hand) is Told.NOTHING
    assert says(empty()) is not Told.THIS


def test_a_sail_across_it_leaves_enough() -> None:
    sail = paint(
        empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING, cover=lambda down, across: abs(down - across) < 0.05
    )
    assert says(sail) is Told.THIS
    assert says(sail, number=12) is Told.OTHER
