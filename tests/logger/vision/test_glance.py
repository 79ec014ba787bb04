from __future__ import annotations

import numpy as np
import pytest

from logger.vision.film import StoredFilm
from logger.vision.glance import Glance, evenly, glance
from logger.vision.ground import Ground, ground
from tests.logger.vision.conftest import Painted


def looked(painted: Painted, known: Ground) -> Glance:
    first = glance(dict(StoredFilm(painted.recording).pictures(evenly(150))), painted.plane, known)
    assert isinstance(first, Glance), first
    return first


@pytest.fixture(scope="module")
def known(painted: Painted) -> Ground:
    return ground(painted.rig, painted.plane, painted.recording.card.boat)


def test_the_pictures_span_the_film_and_a_short_one_is_looked_at_whole() -> None:
    assert evenly(5) == [0, 1, 2, 3, 4]
    assert (evenly(900)[0], evenly(900)[-1], len(evenly(900))) == (0, 899, 28)


def test_the_boat_is_seen_in_every_picture_where_it_is(painted: Painted, known: Ground) -> None:
    first = looked(painted, known)
    true = painted.plane.pixels(painted.on_plane(np.array(sorted(first.pictures))))
    assert all(seen is not None for seen in first.seen)
    u = np.array([seen.u * 4 + 1.5 for seen in first.seen if seen is not None])
    assert np.abs(u - true[:, 0]).max() < 40


def test_the_contrast_is_that_of_deck_and_floor(painted: Painted, known: Ground) -> None:
    """Painted: deck 60, floor about 170."""
    assert looked(painted, known).contrast == pytest.approx(110, abs=15)


def test_more_pictures_are_looked_at_with_the_same_eyes(painted: Painted, known: Ground) -> None:
    first = looked(painted, known)
    assert first.further({}, known) == {}
    again = first.further(dict(list(first.pictures.items())[:2]), known)
    assert again == {n: first.rows[n] for n in sorted(first.pictures)[:2]}


def test_two_pictures_are_too_few(painted: Painted, known: Ground) -> None:
    film = StoredFilm(painted.recording)
    assert "fewer than three" in str(glance(dict(film.pictures([0, 9])), painted.plane, known))
