"""Whose doubt it is: the rig's, the boat's, or this run's own.

Two results are compared through their sources: what both share cancels. So a source must say how far it reaches. The
rig's (gate distance, lines, camera) reach over all runs of a rig; a boat card's only over runs of that boat; noise is
new in every run. The reach stands in the source's `ensemble`, the words in its name.
"""

from __future__ import annotations

from calibration.quantity import Source
from logger.config import Boat

_OF_THE_BOAT = ("boat", "freeboard", "outline", "hull", "tag", "mast", "sail")
"""A source with one of these words in its name belongs to the boat."""


def of_run(name: str, run_id: str) -> Source:
    """Random doubt that no other run shares."""
    return Source(name, ensemble=f"run {run_id}")


def of_boat(name: str, boat: Boat) -> Source:
    """Doubt from the boat's card, the same in all runs of that boat and version."""
    return Source(name, ensemble=f"boat {boat.name} version {boat.version}")


def of_track(name: str, boat: Boat) -> Source:
    """A systematic doubt that the tracker named: the boat's if its name says so, else the rig's."""
    return of_boat(name, boat) if any(word in name.lower() for word in _OF_THE_BOAT) else Source(name)
