from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import partial

import cv2
import numpy as np

from logger.vision.glance import Whole
from logger.vision.ground import Ground, ground
from logger.vision.plane import Plane
from logger.vision.silhouette import Shape
from logger.vision.survey import Survey, headings, posed, sought, survey
from tests.logger.vision.conftest import Painted
from tests.logger.vision.painted import camera


class Film:
    """Pictures in memory."""

    def __init__(self, pictures: list[np.ndarray]) -> None:
        self._pictures = pictures

    @property
    def count(self) -> int:
        return len(self._pictures)

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, np.ndarray]]:
        return ((n, self._pictures[n]) for n in (range(self.count) if wanted is None else wanted))

    def upper(self, rows_px: Mapping[int, int]) -> Iterable[tuple[int, np.ndarray, Whole]]:
        return ((n, self._pictures[n][:rows], partial(self._pictures.__getitem__, n)) for n, rows in rows_px.items())


def test_rough_places_and_headings_are_good_to_a_few_millimetres(painted: Painted) -> None:
    found = painted.found
    off = found.place_mm - painted.on_plane(found.numbers)
    # over the tape line part of the boat is not told from it; the learning puts that right
    assert np.median(np.hypot(*off.T)) < 3
    assert np.hypot(*off.T).max() < 30
    assert np.abs(found.heading_rad - painted.headings_rad[found.numbers]).max() < 0.05
    assert len(found.numbers) >= 25


def test_most_pictures_are_taken_where_the_boat_moves(painted: Painted) -> None:
    moving = (painted.found.numbers >= 40) & (painted.found.numbers < 110)
    assert moving.mean() > 0.55


def test_the_empty_tank_is_known_nearly_everywhere_and_without_boat(painted: Painted) -> None:
    tone = painted.found.empty
    assert np.isnan(tone).mean() < 0.02
    for place in painted.places_mm[[0, 75, 149]]:
        u, v = painted.plane.pixels(place[None])[0].round().astype(int)
        assert np.isnan(tone[v, u]) or tone[v, u] > 130


def test_a_film_without_a_boat_is_told_in_a_sentence() -> None:
    plane = Plane(camera(), 20.0)
    rng = np.random.default_rng(0)
    still = [(150 + rng.normal(0, 1.5, (720, 1280))).astype(np.uint8) for _ in range(8)]
    ground = Ground(tank=None, start_zone=None, forward_rad=0.0, size_mm=100.0, longest_mm=200.0)
    assert "nothing of a boat's size" in str(survey(Film(still), plane, ground))
    assert "fewer than three pictures" in str(survey(Film(still[:2]), plane, ground))


def test_the_bow_is_where_the_boat_goes() -> None:
    def shape(axis_rad: float) -> Shape:
        return Shape(np.zeros(2), axis_rad, 2.0, 1000.0, np.zeros((3, 2)))

    back = np.column_stack([np.linspace(800, 0, 9), np.zeros(9)])
    turned = headings([shape(0.1)] * 9, back, 0.0)
    assert np.cos(turned - (0.1 + np.pi)).min() > 0.999
    assert np.cos(headings([shape(0.1)] * 9, back[::-1], 0.0) - 0.1).min() > 0.999


def test_if_only_what_is_brighter_counts_a_bright_boat_is_found_and_a_dark_one_is_not(painted: Painted) -> None:
    pictures = [frame.image for frame in painted.recording.frames(grey=True)]
    known = ground(painted.rig, painted.plane, painted.recording.card.boat)
    for film, is_found in ((Film(pictures), False), (Film([255 - picture for picture in pictures]), True)):
        seen = sought(film, painted.plane, known)
        usual, brighter = posed(seen, painted.plane, known), posed(seen, painted.plane, known, is_bright=True)
        assert isinstance(usual, Survey)
        places = brighter.place_mm if isinstance(brighter, Survey) else None
        assert np.array_equal(usual.place_mm, places) == is_found


def test_by_size_a_boat_is_found_beside_a_stronger_thing_of_another_size(painted: Painted) -> None:
    """A black disc, not half as wide as the boat is long, moves along beside it all the time."""
    pictures = [frame.image.copy() for frame in painted.recording.frames(grey=True)]
    for n, picture in enumerate(pictures):
        cv2.circle(picture, (300 + 4 * n, 160), 45, 5, -1)
    known = ground(painted.rig, painted.plane, painted.recording.card.boat)
    found = survey(Film(pictures), painted.plane, known, by_size=True)
    assert isinstance(found, Survey), found
    off = np.hypot(*(found.place_mm - painted.on_plane(found.numbers)).T)
    assert len(off) > 20
    assert off.max() < 12
