from __future__ import annotations

from dataclasses import replace

import pytest

from logger.config import Boat, Tag
from logger.vision.card import Card, boat_card, bow_share, tag_of


def test_what_was_measured_is_taken_as_it_is() -> None:
    boat = Boat("b", length_mm=200.0, u_length_mm=0.5, width_mm=80.0, freeboard_mm=20.0, u_freeboard_mm=1.2)
    assert boat_card(boat) == Card(20.0, 1.2, 200.0, 0.5, 80.0, 1.0)


def test_an_unmeasured_freeboard_is_doubted_by_more_than_a_ruler_would() -> None:
    card = boat_card(Boat("b"))
    assert card.freeboard_mm - card.u_freeboard_mm > 0
    assert card.u_freeboard_mm > 5 * Boat("b").u_freeboard_mm
    assert card.length_mm is None


def test_a_tag_without_height_lies_on_the_deck() -> None:
    bare = Tag("disc")
    on_deck = tag_of(Boat("toy", freeboard_mm=21.0, u_freeboard_mm=0.9), bare)
    assert (on_deck.height_mm, on_deck.u_height_mm) == pytest.approx((21.0, 1.5))
    assert tag_of(Boat("toy"), bare).u_height_mm > 5
    assert tag_of(Boat("toy", freeboard_mm=21.0), replace(bare, height_mm=30.0)).height_mm == 30.0


def test_a_bow_is_half_the_length_ahead_of_a_bowl_and_more_of_a_boat() -> None:
    """Half for a circle; a triangle's centroid lies two thirds of its height behind its tip: boats are in between."""
    assert bow_share(Boat("bowl", length_mm=120.0, width_mm=110.0))[0] == 0.5
    share, u = bow_share(Boat("boat", length_mm=200.0, width_mm=80.0))
    assert 0.5 < share - u < share + 2 * u < 2 / 3


def test_before_anything_is_seen_the_card_says_how_doubtful_the_sides_are() -> None:
    covariance = Card(20.0, 1.5).sides_covariance()
    assert covariance.tolist() == [[2.25, 0.0], [0.0, 0.015**2]]
