from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from logger.vision import outline, ways
from logger.vision.card import boat_card
from logger.vision.film import StoredFilm
from logger.vision.glance import evenly
from logger.vision.ground import depth_share, ground
from logger.vision.learning import Learnt, learn
from logger.vision.looks import Look, look_of
from logger.vision.plane import Plane
from tests.logger.vision.conftest import Painted
from tests.logger.vision.shaded_run import ADJOINING_MM, APART_MM, shaded_run


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


def shaded_look(folder: Path, bgr: tuple[float, float, float], aside_mm: tuple[float, float]) -> tuple[Look, float]:
    """The look of a boat of that colour beside its shadow, and how far, at most, it was off when learnt, mm."""
    recording, rig, places = shaded_run(folder, bgr, aside_mm=aside_mm)
    card = boat_card(recording.card.boat)
    assert recording.view is not None
    plane = Plane(recording.view, card.freeboard_mm)
    film = StoredFilm(recording)
    pictures = dict(film.pictures(evenly(film.count)))
    known = ground(rig, plane, recording.card.boat)
    found = look_of(film, pictures, plane, known, card=card, floor_share=depth_share(rig.tank, plane))
    assert isinstance(found, Look), found
    return found, float(np.hypot(*(found.learnt.place_mm - places[found.found.numbers]).T).max())


@pytest.mark.parametrize("aside_mm", [ADJOINING_MM, APART_MM])
def test_a_shadow_of_the_boats_size_is_not_taken_for_a_yellow_boat_as_bright_as_the_floor(
    tmp_path: Path, aside_mm: tuple[float, float]
) -> None:
    """In grey only the shadow is seen. The boat is found by its hue, and read in blue, in which it is plainest."""
    look, off_mm = shaded_look(tmp_path, (60.0, 170.0, 170.0), aside_mm)
    assert off_mm < 3
    assert not look.film.is_grey


def test_a_boat_found_by_its_hue_stays_in_grey_where_no_colour_is_clearly_plainer(tmp_path: Path) -> None:
    look, off_mm = shaded_look(tmp_path, (60.0, 60.0, 100.0), ADJOINING_MM)
    assert off_mm < 1
    assert look.film.is_grey


def test_a_bright_boat_is_told_from_the_shadow_that_touches_it(tmp_path: Path) -> None:
    """Together they are larger than the card says, and the shadow is the plainer one of the two."""
    look, off_mm = shaded_look(tmp_path, (215.0, 215.0, 215.0), ADJOINING_MM)
    assert off_mm < 1
    deck = float(np.median(look.learnt.hull.deck[:, -1]))
    assert deck > float(np.median(look.learnt.water))


def test_silhouettes_larger_than_the_boat_are_not_looked_into_where_another_look_is_plain(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In one simulated run the tank's wall was found within them, while the boat was plain as a bright thing."""

    def asked(*_: object) -> None:
        raise AssertionError("larger silhouettes were looked into")

    monkeypatch.setattr(ways, "within", asked)
    _, off_mm = shaded_look(tmp_path, (215.0, 215.0, 215.0), ADJOINING_MM)
    assert off_mm < 1


def test_what_is_far_from_the_cards_size_is_not_learnt_where_another_look_is_plain(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Boat and shadow together are half as wide again as the card says; learning takes long and would not help."""
    learnt: list[float] = []

    def counted(*args: Any, polygon_mm: np.ndarray, **asked: Any) -> Learnt:
        learnt.append(float(np.prod(outline.extents(polygon_mm))))
        return learn(*args, polygon_mm=polygon_mm, **asked)

    monkeypatch.setattr(ways, "learn", counted)
    look, off_mm = shaded_look(tmp_path, (215.0, 215.0, 215.0), ADJOINING_MM)
    assert off_mm < 1
    size_mm2 = float(np.prod(outline.extents(look.learnt.hull.outline())))
    assert learnt == pytest.approx([size_mm2] * len(learnt), rel=0.2)


def test_what_is_far_from_the_cards_size_is_learnt_where_nothing_else_is_plain(
    painted: Painted,
) -> None:
    """A card of quite another boat; what was learnt is then told with it."""
    film = StoredFilm(painted.recording)
    pictures = dict(film.pictures(evenly(film.count)))
    boat = replace(painted.recording.card.boat, length_mm=150.0, width_mm=60.0)
    known = ground(painted.rig, painted.plane, boat)
    found = look_of(film, pictures, painted.plane, known, card=boat_card(boat), floor_share=0.05)
    assert isinstance(found, Look), found
    assert found.misses_card(boat_card(boat))
    length_mm, width_mm = outline.extents(found.learnt.hull.outline())
    assert length_mm > 160
    assert width_mm > 75


def test_a_boat_of_a_shadows_grey_without_anything_beside_it_is_the_boat(tmp_path: Path) -> None:
    """No shadow is seen beside it, nor anything of another hue."""
    look, off_mm = shaded_look(tmp_path, (110.0, 110.0, 110.0), (0.0, 0.0))
    assert off_mm < 2.5
    assert look.film.is_grey
