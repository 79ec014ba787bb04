"""One painted run that several tests look at."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.config import Boat, Rig
from logger.recording.folder import Recording
from logger.vision.card import boat_card
from logger.vision.film import StoredFilm
from logger.vision.ground import depth_share, ground
from logger.vision.learning import Learnt, learn
from logger.vision.plane import Plane
from logger.vision.survey import Survey, survey
from tests.logger.vision.painted import Toy, run, voyage

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Painted:
    """A run, the truth of it, and what the first two stages make of it."""

    recording: Recording
    rig: Rig
    toy: Toy
    places_mm: Floats
    headings_rad: Floats
    plane: Plane
    found: Survey
    learnt: Learnt

    def on_plane(self, numbers: NDArray[np.int64]) -> Floats:
        """True places as the tracker's plane (the card's freeboard) shows them."""
        height = self.plane.height_mm
        ratio = (height - self.plane.z_mm) / (height - self.toy.freeboard_mm)
        return self.plane.foot_mm + (self.places_mm[numbers] - self.plane.foot_mm) * ratio


@pytest.fixture(scope="session")
def painted(tmp_path_factory: pytest.TempPathFactory) -> Painted:
    """Forty pictures at rest, seventy under way, forty at rest; the card's freeboard is 1.5 mm wrong."""
    toy = Toy()
    card = Boat("toy", length_mm=207, width_mm=81.8, freeboard_mm=toy.freeboard_mm + 1.5)
    return run_of(toy, card, tmp_path_factory.mktemp("painted"), count=150, rest=40)


def run_of(toy: Toy, card: Boat, folder: Path, *, count: int, rest: int) -> Painted:
    """A run of `count` pictures, so many of them at rest at either end."""
    places, headings = voyage(count, rest=rest)
    recording, rig = run(folder, toy, places, headings, card=card)
    assert recording.view is not None
    plane = Plane(recording.view, boat_card(card).freeboard_mm)
    found = survey(StoredFilm(recording), plane, ground(rig, plane, card))
    assert isinstance(found, Survey), found
    learnt = learn(
        found.pictures,
        found.water,
        plane,
        polygon_mm=found.polygon_mm,
        place_mm=found.place_mm,
        heading_rad=found.heading_rad,
        card=boat_card(card),
        depth_share=depth_share(rig.tank, plane),
    )
    return Painted(recording, rig, toy, places, headings, plane, found, learnt)
