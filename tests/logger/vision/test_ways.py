from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from logger.vision.card import boat_card
from logger.vision.film import StoredFilm
from logger.vision.ground import depth_share, ground
from logger.vision.plane import Plane
from logger.vision.survey import Survey
from logger.vision.ways import OFF_CARD, Scene, by_crinkles, by_hue, may_be_shade, within_silhouette, without_hue
from tests.logger.vision.shaded_run import APART_MM, shaded_run

YELLOW, GREY, RED = (60.0, 170.0, 170.0), (110.0, 110.0, 110.0), (50.0, 50.0, 140.0)
ALONE_MM = (0.0, 0.0)
"""The shadow lies under its boat and is not seen."""


def scene_of(folder: Path, bgr: tuple[float, float, float], aside_mm: tuple[float, float]) -> tuple[Scene, np.ndarray]:
    """Where such a boat is looked for, and its true places (N, 2)."""
    recording, rig, places = shaded_run(folder, bgr, aside_mm=aside_mm)
    assert recording.view is not None
    card = boat_card(recording.card.boat)
    plane = Plane(recording.view, card.freeboard_mm)
    known = ground(rig, plane, recording.card.boat)
    return Scene(StoredFilm(recording), plane, known, card, depth_share(rig.tank, plane)), places


def in_grey(scene: Scene) -> Survey:
    found = scene.surveyed(scene.grey)
    assert isinstance(found, Survey), found
    return found


def off_mm(found: Survey, places: np.ndarray) -> float:
    """How far a survey is typically from the boat."""
    return float(np.median(np.hypot(*(found.place_mm - places[found.numbers]).T)))


def test_by_its_hue_the_boat_is_found_where_in_grey_only_its_shadow_is(tmp_path: Path) -> None:
    scene, places = scene_of(tmp_path, YELLOW, APART_MM)
    assert off_mm(in_grey(scene), places) == pytest.approx(np.hypot(*APART_MM), rel=0.1)
    looks = by_hue(scene)
    assert looks
    assert all(off_mm(look.found, places) < 5 for look in looks)
    assert all(look.is_plain(scene.card) for look in looks)


def test_what_has_the_floors_hue_is_not_found_by_hue_nor_by_its_lack_of_it(tmp_path: Path) -> None:
    scene, _ = scene_of(tmp_path, GREY, ALONE_MM)
    assert by_hue(scene) == []
    assert without_hue(scene, (0.0, 0.0)) is None, "on a grey floor everything may lack hue"


@pytest.mark.parametrize(("bgr", "may_be"), [(GREY, True), (RED, False)])
def test_only_what_is_darker_in_every_colour_alike_may_be_a_shadow(
    tmp_path: Path, bgr: tuple[float, float, float], may_be: bool
) -> None:
    scene, _ = scene_of(tmp_path, bgr, ALONE_MM)
    assert may_be_shade(scene, scene.grey, in_grey(scene)) == may_be


def test_a_look_is_of_the_cards_size_or_says_by_how_much_it_is_not(tmp_path: Path) -> None:
    scene, _ = scene_of(tmp_path, RED, ALONE_MM)
    look = scene.learnt(scene.grey, in_grey(scene))
    assert 0 < look.off(scene.card) < OFF_CARD
    assert not look.misses_card(scene.card)
    assert look.is_plain(scene.card)
    assert not look.is_plain(scene.card, off_card=0.0)


def test_within_what_may_be_a_shadow_no_boat_is_looked_for(tmp_path: Path) -> None:
    """The grey boat is itself such a thing; the red one is found within its own silhouette."""
    (tmp_path / "grey").mkdir()
    (tmp_path / "red").mkdir()
    grey, _ = scene_of(tmp_path / "grey", GREY, ALONE_MM)
    assert within_silhouette(grey, in_grey(grey), grey.grey, in_grey(grey)) is None
    red, places = scene_of(tmp_path / "red", RED, ALONE_MM)
    look = within_silhouette(red, in_grey(red), red.grey, in_grey(red))
    assert look is not None
    assert off_mm(look.found, places) < 5


def test_of_a_smooth_boat_crinkles_say_nothing_but_its_edges_do(tmp_path: Path) -> None:
    scene, places = scene_of(tmp_path, GREY, ALONE_MM)
    sure, others = by_crinkles(scene, (0.0, 0.0))
    assert sure is None
    assert len(others) == 2
    assert all(off_mm(look.found, places) < 5 for look in others)
    assert all(not look.learnt.is_by_crinkles for look in others)
