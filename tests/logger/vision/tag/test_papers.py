from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.vision.plane import Plane
from logger.vision.tag.papers import Papers, painted
from tests.logger.vision.tag.seen import seen_at
from tests.logger.vision.tagged_run import TOY


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    return seen_at(tmp_path_factory.mktemp("papers"))


def hidden_at(seen, view, number: int, ahead_mm: float, left_mm: float) -> bool:
    """Whether the point so far ahead and to the left of the tag's middle, at its height, is hidden."""
    plane, deck = Plane(view, TOY.freeboard_mm + 2), Plane(view, TOY.freeboard_mm)
    c, s = np.cos(seen.heading_rad[number]), np.sin(seen.heading_rad[number])
    at = seen.place_mm[number] + np.array([c * ahead_mm - s * left_mm, s * ahead_mm + c * left_mm])
    column, row = plane.pixels(at)
    found = Papers(seen, [number], plane, deck)(np.full((1, 1, 1), column), np.full((1, 1, 1), row))
    return bool(found[0, 0, 0])


@pytest.mark.parametrize("number", [0, 24, 44])
def test_the_paper_hides_what_is_under_it_and_nothing_far_beside_it(shown, number: int) -> None:
    seen, view = shown
    for ahead, left in ((0, 0), (1, 0), (0, -1), (0.9, 0.9)):
        assert hidden_at(seen, view, number, ahead * seen.paper_mm, left * seen.paper_mm)
    for ahead, left in ((1.3, 0), (0, -1.3), (1.25, 1.25)):
        assert not hidden_at(seen, view, number, ahead * seen.paper_mm, left * seen.paper_mm)


def test_a_round_paper_has_no_corners(shown) -> None:
    seen, view = shown
    disc = replace(seen, is_round=True)
    assert hidden_at(seen, view, 24, 0.9 * seen.paper_mm, 0.9 * seen.paper_mm)
    assert not hidden_at(disc, view, 24, 0.9 * seen.paper_mm, 0.9 * seen.paper_mm)


def test_a_plate_below_the_paper_hides_too(shown) -> None:
    seen, view = shown
    plane, low = Plane(view, TOY.freeboard_mm + 2), Plane(view, 0.0)
    number = max(seen.place_mm, key=lambda n: np.hypot(*(seen.place_mm[n] - plane.foot_mm)))
    outward = seen.place_mm[number] - plane.foot_mm
    outward /= np.hypot(*outward)
    # the foot of the plate's near side: nearer to the lens's foot point than the paper's own edge seems to be
    side = plane.lowered((seen.place_mm[number] - outward * seen.paper_mm)[None], 0.0)[0]
    column, row = low.pixels(side)
    pixel = np.full((1, 1, 1), column), np.full((1, 1, 1), row)
    assert Papers(seen, [number], plane, low)(*pixel).all()


def test_what_is_painted_over_has_the_light_around_it(shown) -> None:
    seen, view = shown
    picture, plane = painted(seen, 24, Plane(view, TOY.freeboard_mm + 2)), Plane(view, TOY.freeboard_mm + 2)
    column, row = np.round(plane.pixels(seen.place_mm[24])).astype(int)
    was = seen.pictures[24][row - 5 : row + 6, column - 5 : column + 6]
    now = picture[row - 5 : row + 6, column - 5 : column + 6]
    assert np.ptp(was) > 60
    assert np.ptp(now) == 0
