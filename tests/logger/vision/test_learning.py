from __future__ import annotations

import numpy as np
import pytest

from logger.config import Boat
from logger.vision import outline
from logger.vision.card import boat_card
from logger.vision.learning import learn
from tests.logger.vision.conftest import Painted


def test_places_are_right_to_a_tenth_of_a_millimetre(painted: Painted) -> None:
    off = painted.learnt.place_mm - painted.on_plane(painted.found.numbers)
    assert np.sqrt((off**2).sum(axis=1).mean()) < 0.15
    turn = painted.learnt.heading_rad - painted.headings_rad[painted.found.numbers]
    assert np.abs(turn).max() < 0.004


def test_a_freeboard_misread_by_a_ruler_is_put_right_by_the_walls(painted: Painted) -> None:
    assert painted.plane.z_mm == pytest.approx(painted.toy.freeboard_mm + 1.5)
    assert painted.learnt.hull.freeboard_mm == pytest.approx(painted.toy.freeboard_mm, abs=0.9)
    assert painted.learnt.u_freeboard_mm < 0.8


def test_the_learnt_waterline_is_the_boats(painted: Painted) -> None:
    seen = painted.learnt.hull.waterline(painted.plane.height_mm)
    angles = np.linspace(0, 2 * np.pi, 90)
    ways = np.column_stack([np.cos(angles), np.sin(angles)])
    off = outline.reach(seen, ways) - outline.reach(painted.toy.outline_mm, ways)
    assert np.abs(off).max() < 0.9
    assert np.sqrt((off**2).mean()) < 0.5


def test_no_shadow_is_made_up_where_there_is_none(painted: Painted) -> None:
    assert painted.learnt.hull.shadow.darkness < 0.05


def test_every_picture_is_explained(painted: Painted) -> None:
    assert painted.learnt.misfit.max() < 2.5


def test_a_boat_of_which_no_picture_shows_anything_is_not_learnt_and_breaks_nothing(painted: Painted) -> None:
    """Something lies on all of it in all pictures: its noise stays as great as can be."""
    found = painted.found
    unlearnt = learn(
        found.pictures, found.water, painted.plane, polygon_mm=found.polygon_mm, place_mm=found.place_mm,
        heading_rad=found.heading_rad, card=boat_card(Boat("toy", length_mm=207, width_mm=81.8, freeboard_mm=20.0)),
        depth_share=0.0, covered=lambda u, v: np.ones(np.broadcast(u, v).shape, bool),
    )  # fmt: skip
    assert np.isfinite(unlearnt.hull.edge_mm).all()
    assert np.isfinite(unlearnt.hull.freeboard_mm)
    assert unlearnt.hull.noise.min() >= 50  # grey levels: whatever is there fits as well
