"""What the boat card says for the measurement."""

from __future__ import annotations

from dataclasses import dataclass

from logger.config import Boat

_FREEBOARD_UNKNOWN_MM = (15.0, 9.0)
"""What is taken for a boat whose freeboard was not measured, and its standard uncertainty: anything up to 30 mm."""


@dataclass(frozen=True, slots=True)
class Card:
    """What is known of the boat beforehand, mm; None where it was not measured."""

    freeboard_mm: float
    u_freeboard_mm: float
    length_mm: float | None = None
    u_length_mm: float = 1.0
    width_mm: float | None = None
    u_width_mm: float = 1.0


def boat_card(boat: Boat) -> Card:
    """What the card says for the fit; an unmeasured freeboard becomes a wide guess."""
    freeboard, u = boat.freeboard_mm, boat.u_freeboard_mm
    if freeboard is None:
        freeboard, u = _FREEBOARD_UNKNOWN_MM
    return Card(freeboard, u, boat.length_mm, boat.u_length_mm, boat.width_mm, boat.u_width_mm)
