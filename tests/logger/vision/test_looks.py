from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.vision import outline
from logger.vision.card import boat_card
from logger.vision.film import StoredFilm
from logger.vision.glance import evenly
from logger.vision.ground import depth_share, ground
from logger.vision.looks import Look, look_of
from tests.logger.vision.conftest import Painted


@pytest.fixture(scope="module")
def look(painted: Painted) -> Look:
    film = StoredFilm(painted.recording)
    pictures = dict(film.pictures(evenly(film.count)))
    boat = painted.recording.card.boat
    known = ground(painted.rig, painted.plane, boat)
    floor_share = depth_share(painted.rig.tank, painted.plane)
    found = look_of(film, pictures, painted.plane, known, card=boat_card(boat), floor_share=floor_share)
    assert isinstance(found, Look), found
    return found


def test_a_plain_boat_is_learnt_from_its_light_and_has_the_cards_size(painted: Painted, look: Look) -> None:
    card = boat_card(painted.recording.card.boat)
    assert look.film.is_grey
    assert not look.misses_card(card)
    assert outline.extents(look.learnt.hull.outline()) == pytest.approx((card.length_mm, card.width_mm), rel=0.03)
    assert len(look.found.numbers) == len(look.learnt.place_mm) == len(look.learnt.misfit)


def test_another_size_than_the_cards_is_noticed(painted: Painted, look: Look) -> None:
    card = boat_card(painted.recording.card.boat)
    assert look.misses_card(replace(card, length_mm=1.1 * card.length_mm))
    assert not look.misses_card(replace(card, length_mm=None, width_mm=None))
    assert np.isfinite(look.found.contrast)
