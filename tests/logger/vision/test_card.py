from __future__ import annotations

from logger.config import Boat
from logger.vision.card import Card, boat_card


def test_what_was_measured_is_taken_as_it_is() -> None:
    boat = Boat("b", length_mm=200.0, u_length_mm=0.5, width_mm=80.0, freeboard_mm=20.0, u_freeboard_mm=1.2)
    assert boat_card(boat) == Card(20.0, 1.2, 200.0, 0.5, 80.0, 1.0)


def test_an_unmeasured_freeboard_is_doubted_by_more_than_a_ruler_would() -> None:
    card = boat_card(Boat("b"))
    assert card.freeboard_mm - card.u_freeboard_mm > 0
    assert card.u_freeboard_mm > 5 * Boat("b").u_freeboard_mm
    assert card.length_mm is None
