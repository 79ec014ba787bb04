from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.vision.plane import Plane
from logger.vision.tag.seat import Seat, seat
from tests.logger.vision.tag.seen import around_of, seen_at
from tests.logger.vision.tagged_run import BOW_MM, SEAT_MM, TOY, TURN_RAD, boat

TAG = boat().tag
Z_OFF_MM = 6.0


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """The card has the print too high by 6 mm."""
    seen, view = seen_at(tmp_path_factory.mktemp("seat"), z_off_mm=Z_OFF_MM)
    return seen, around_of(seen, view), Plane(view, TOY.freeboard_mm + 2 + Z_OFF_MM)


def seated(shown, **card) -> Seat:
    found = seat(*shown, replace(TAG, height_mm=TOY.freeboard_mm + 2 + Z_OFF_MM, **({"u_height_mm": 3.0} | card)))
    assert isinstance(found, Seat), found
    return found


def test_place_turn_and_height_of_the_print_are_found_together(shown) -> None:
    found = seated(shown)
    off = np.array(found.centroid_mm) + SEAT_MM
    assert np.abs(off).max() < 0.6
    assert (np.abs(off) < 2.5 * np.sqrt(np.diag(found.covariance)[1:])).all()
    assert abs(found.height_mm - TOY.freeboard_mm - 2) < min(2.5, 2.5 * np.sqrt(found.covariance[0, 0]))
    assert found.turn_rad == pytest.approx(-TURN_RAD, abs=0.006)
    assert found.outline_mm[:, 0].max() == pytest.approx(BOW_MM, abs=1.2)
    assert found.flags == ()


def test_a_card_that_is_sure_outweighs_the_hull(shown) -> None:
    found = seated(shown, u_left_mm=0.01, left_mm=2.3)
    assert found.centroid_mm[1] == pytest.approx(-2.3, abs=0.02)
    assert found.covariance[2, 2] < 0.02**2
    assert found.covariance[1, 1] == pytest.approx(seated(shown).covariance[1, 1], rel=0.1)


def test_a_ruler_from_the_print_to_the_bow_moves_centroid_and_bow(shown) -> None:
    """Seen and told differ by 2 mm; who is sure of it has the last word, and the bow is where it says."""
    free, told_mm = seated(shown, u_bow_ahead_mm=100.0), BOW_MM - SEAT_MM[0] + 2.0
    sure = seated(shown, bow_ahead_mm=told_mm, u_bow_ahead_mm=0.01)
    bow_mm = sure.centroid_mm[0] + sure.outline_mm[:, 0].max()
    assert bow_mm == pytest.approx(told_mm, abs=0.02)
    assert sure.u_outline_mm < free.u_outline_mm
    away = told_mm - free.centroid_mm[0] - free.outline_mm[:, 0].max()
    share = free.u_outline_mm**2 / (free.u_outline_mm**2 + free.covariance[1, 1])
    assert sure.outline_mm[:, 0].max() - free.outline_mm[:, 0].max() == pytest.approx(share * away, rel=0.02)
    assert sure.outline_mm[:, 0].min() == free.outline_mm[:, 0].min()
    half = seated(shown, bow_ahead_mm=told_mm, u_bow_ahead_mm=0.6)
    assert free.centroid_mm[0] < half.centroid_mm[0] < sure.centroid_mm[0]


@pytest.mark.parametrize(
    ("card", "said"),
    [
        ({"left_mm": -9.0}, "the tag seems to sit 2 mm left of the middle line, the boat card says -9 mm left"),
        ({"bow_ahead_mm": BOW_MM}, "mm behind the bow"),
        ({"u_height_mm": 0.2}, "mm high, the boat card says 28 mm"),
        ({"u_turn_deg": 0.2}, "the tag's arrow points 1."),
    ],
)
def test_a_card_that_says_otherwise_is_told(shown, card: dict[str, float], said: str) -> None:
    flags = seated(shown, **card).flags
    assert any(said in flag for flag in flags), flags


def test_a_hull_that_does_not_go_with_the_print_is_none(shown) -> None:
    seen, around, plane = shown
    rng = np.random.default_rng(1)
    astray = {n: place + rng.normal(0, 9, 2) for n, place in seen.place_mm.items()}
    found = seat(replace(seen, place_mm=astray), around, plane, TAG)
    assert isinstance(found, str)
    assert "disagree" in found
    beside = {n: heading + 0.4 for n, heading in seen.heading_rad.items()}
    found = seat(replace(seen, heading_rad=beside), around, plane, TAG)
    assert found == "the outline does not lie along the tag's arrow"
