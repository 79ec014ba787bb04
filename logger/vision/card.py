"""What the boat card says for the measurement."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.config import Boat, Tag

_FREEBOARD_UNKNOWN_MM = (15.0, 9.0)
"""What is taken for a boat whose freeboard was not measured, and its standard uncertainty: anything up to 30 mm."""

DECK_UNKNOWN_MM = (18.0, 9.0)
"""Height of a print on a deck whose height nobody has measured, and its standard uncertainty."""
_SHARE, _U_SHARE = 0.545, 0.028
"""Of the length, from the bow to the waterline's centroid: even between 0.497 and 0.593. Half for a box, an ellipse or
a double-ended boat; the water plane of a hull with a pointed bow and a flat stern has its centroid a little aft, at
0.52 to 0.59 (yachts and cargo ships keep to 0.50 to 0.57; from memory, no source)."""
_ROUND_SHARE, _U_ROUND_SHARE, _ROUND_RATIO = 0.5, 0.012, 1.2
"""The same of a boat hardly longer than wide, and up to which ratio it is one."""
USUAL_FLARE, U_FLARE = 0.02, 0.015
"""By how much a deck is usually larger than the waterline, as a share: sides stand upright or lean out a little."""


@dataclass(frozen=True, slots=True)
class Card:
    """What is known of the boat beforehand, mm; None where it was not measured."""

    freeboard_mm: float
    u_freeboard_mm: float
    length_mm: float | None = None
    u_length_mm: float = 1.0
    width_mm: float | None = None
    u_width_mm: float = 1.0

    def sides_covariance(self) -> NDArray[np.float64]:
        """(2, 2) of freeboard, mm, and flare, a share, before anything has been seen."""
        return np.diag([self.u_freeboard_mm**2, U_FLARE**2])


def boat_card(boat: Boat) -> Card:
    """What the card says for the fit; an unmeasured freeboard becomes a wide guess."""
    freeboard, u = boat.freeboard_mm, boat.u_freeboard_mm
    if freeboard is None:
        freeboard, u = _FREEBOARD_UNKNOWN_MM
    return Card(freeboard, u, boat.length_mm, boat.u_length_mm, boat.width_mm, boat.u_width_mm)


def tag_of(boat: Boat, tag: Tag) -> Tag:
    """The tag with a height: its own, that of the deck, or a wide guess."""
    if tag.height_mm is not None:
        return tag
    height, u = boat.freeboard_mm, float(np.hypot(boat.u_freeboard_mm, tag.u_height_mm))
    if height is None:
        height, u = DECK_UNKNOWN_MM
    return replace(tag, height_mm=height, u_height_mm=u)


def is_round(length_mm: float | None, width_mm: float | None) -> bool:
    """Whether a boat of these sizes is hardly longer than wide."""
    return bool(length_mm and width_mm and length_mm < _ROUND_RATIO * width_mm)


def bow_share(boat: Boat) -> tuple[float, float]:
    """How far ahead of the waterline's centroid the bow usually is, as a share of the length; standard uncertainty."""
    if is_round(boat.length_mm, boat.width_mm):
        return _ROUND_SHARE, _U_ROUND_SHARE
    return _SHARE, _U_SHARE
