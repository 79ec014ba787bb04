from __future__ import annotations

import numpy as np
import pytest

from logger.vision.film import StoredFilm
from logger.vision.learning import Card
from logger.vision.plane import Plane
from logger.vision.tag_hull import Seat, Seen, seat
from tests.logger.vision.tagged_run import BOW_MM, SEAT_MM, TOY, TURN_RAD, tagged_run

CARD = Card(TOY.freeboard_mm, 1.2, TOY.length_mm, 1.0, TOY.width_mm, 1.0)


@pytest.fixture(scope="module")
def around(tmp_path_factory):
    """The print where it truly is in every fourth picture."""
    recording, _, places, headings = tagged_run(tmp_path_factory.mktemp("hull"), count=48)
    chosen = list(range(0, 48, 4))
    c, s = np.cos(headings), np.sin(headings)
    middle = places + np.column_stack([c * SEAT_MM[0] - s * SEAT_MM[1], s * SEAT_MM[0] + c * SEAT_MM[1]])
    pictures = dict(StoredFilm(recording).pictures(chosen))
    seen = Seen(
        pictures, {n: middle[n] for n in chosen}, {n: float(headings[n] + TURN_RAD) for n in chosen}, 27.0, False
    )
    return seen, recording.view


def seated(around, card: Card = CARD):
    seen, view = around
    return seat(seen, Plane(view, TOY.freeboard_mm + 2), Plane(view, TOY.freeboard_mm), card, depth_share=0.05)


def test_the_hull_is_found_where_it_lies_around_the_print(around) -> None:
    found = seated(around)
    assert isinstance(found, Seat), found
    # the centroid as the print sees it: its own frame is turned against the boat's
    c, s = np.cos(-TURN_RAD), np.sin(-TURN_RAD)
    true = np.array([-c * SEAT_MM[0] + s * SEAT_MM[1], -s * SEAT_MM[0] - c * SEAT_MM[1]])
    off = np.array(found.centroid_mm) - true
    assert np.abs(off).max() < 1.2
    assert abs(off[0]) < 2.5 * found.u_along_mm
    assert abs(off[1]) < 2.5 * found.u_across_mm
    assert found.turn_rad == pytest.approx(-TURN_RAD, abs=0.006)
    assert found.outline_mm[:, 0].max() == pytest.approx(BOW_MM, abs=1.2)


def test_an_outline_of_another_size_than_the_cards_is_refused(around) -> None:
    assert isinstance(seated(around, Card(TOY.freeboard_mm, 1.2, 236.0, 1.0, TOY.width_mm, 1.0)), str)


def test_without_a_length_there_is_nothing_to_compare_with(around) -> None:
    assert seated(around, Card(TOY.freeboard_mm, 1.2)) == "the boat card says no length"


def test_a_boat_that_stays_where_it_is_cannot_be_told_from_the_floor(around) -> None:
    seen, view = around
    first = {n: seen.place_mm[n] for n in sorted(seen.place_mm)[:2]}
    still = Seen(seen.pictures, first, seen.heading_rad, seen.paper_mm, False)
    found = seated((still, view))
    assert isinstance(found, str)
    assert "does not come far enough" in found
