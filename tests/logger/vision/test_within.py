from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from logger.config import Rig
from logger.recording.folder import Recording
from logger.vision import outline
from logger.vision.card import Card, boat_card
from logger.vision.film import StoredFilm
from logger.vision.ground import ground
from logger.vision.plane import Plane
from logger.vision.survey import Survey, survey
from logger.vision.track import MEASURED, Track
from logger.vision.tracker import track_boat
from logger.vision.within import within
from tests.logger.vision.conftest import Painted
from tests.logger.vision.sailed_run import sailed_run


@dataclass(frozen=True, slots=True, eq=False)
class Sailed:
    """A run with a sail, its truth, and what the sparse pass makes of it."""

    recording: Recording
    rig: Rig
    true: np.ndarray
    plane: Plane
    card: Card
    found: Survey

    def off_mm(self, numbers: np.ndarray, places_mm: np.ndarray) -> np.ndarray:
        """How far places on the plane are from the true ones; the card's freeboard is right."""
        return np.hypot(*(places_mm - self.true[numbers, :2]).T)


@pytest.fixture(scope="module")
def sailed(tmp_path_factory: pytest.TempPathFactory) -> Sailed:
    recording, rig, true = sailed_run(tmp_path_factory.mktemp("sailed"))
    card = boat_card(recording.card.boat)
    assert recording.view is not None
    plane = Plane(recording.view, card.freeboard_mm)
    found = survey(StoredFilm(recording), plane, ground(rig, plane, recording.card.boat))
    assert isinstance(found, Survey), found
    return Sailed(recording, rig, true, plane, card, found)


def test_a_boat_lies_where_most_of_its_edge_is_the_silhouettes_border(sailed: Sailed) -> None:
    """The sail pulls the silhouettes' middles along; what is left is the usual shape's own error."""
    assert np.median(sailed.off_mm(sailed.found.numbers, sailed.found.place_mm)) > 5
    inner = within(sailed.found, sailed.plane, sailed.card)
    assert inner is not None
    of = inner.of(sailed.found)
    assert len(of.pictures) == len(of.numbers) == len(of.place_mm) == len(of.heading_rad) >= 6
    assert sailed.off_mm(of.numbers, of.place_mm).max() < 3
    assert np.abs(of.heading_rad - sailed.true[of.numbers, 2]).max() < np.radians(2)
    size = (sailed.card.length_mm, sailed.card.width_mm)
    assert outline.extents(of.polygon_mm) == pytest.approx(size, rel=0.01)


def test_silhouettes_smaller_than_the_card_says_hold_no_boat(sailed: Sailed) -> None:
    larger = replace(sailed.card, length_mm=260.0)
    assert within(sailed.found, sailed.plane, larger) is None
    assert within(sailed.found, sailed.plane, replace(sailed.card, width_mm=None)) is None


def test_what_has_another_border_holds_no_boat(painted: Painted) -> None:
    """The card of a far smaller boat: hardly any of its edge can lie on the border of a large thing."""
    card = boat_card(painted.recording.card.boat)
    assert within(painted.found, painted.plane, card) is not None
    assert within(painted.found, painted.plane, replace(card, length_mm=100.0, width_mm=45.0)) is None


def test_a_boat_whose_sail_has_its_light_and_stands_out_in_every_picture_is_measured(sailed: Sailed) -> None:
    track = track_boat(sailed.recording, sailed.rig)
    assert isinstance(track, Track), track.reason
    assert track.flags == ()
    assert len(track.t_ns) == len(sailed.true)
    off = np.hypot(*(np.column_stack([track.x_mm, track.y_mm]) - sailed.true[track.frame, :2]).T)
    assert np.sqrt((off**2).mean()) < 0.5
    assert (track.quality == MEASURED).mean() > 0.9
