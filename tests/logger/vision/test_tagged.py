from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.config import Tag
from logger.vision.plane import Plane
from logger.vision.tag.hull import Around, learnt_around
from logger.vision.tagged import tag_poses, track_tagged
from logger.vision.track import DOUBTFUL, MEASURED, NotFound, Track
from tests.logger.vision.tagged_run import BOW_MM, SEAT_MM, TURN_RAD, boat, tagged_run


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return tagged_run(tmp_path_factory.mktemp("tagged"))


def test_the_print_is_exact_in_every_picture(run) -> None:
    recording, rig, places, headings = run
    poses = tag_poses(recording, rig)
    assert poses
    assert poses.frame.tolist() == list(range(len(places)))
    c, s = np.cos(headings), np.sin(headings)
    middle = places + np.column_stack([c * SEAT_MM[0] - s * SEAT_MM[1], s * SEAT_MM[0] + c * SEAT_MM[1]])
    assert np.hypot(*(poses.place_mm - middle).T).max() < 0.2
    assert np.abs(poses.heading_rad - headings - TURN_RAD).max() < 0.01
    assert poses.flags == poses.notes == ()


def test_the_centroid_is_found_with_the_hull_around_the_print(run) -> None:
    recording, rig, places, headings = run
    track = track_tagged(recording, rig)
    assert isinstance(track, Track)
    off = np.column_stack([track.x_mm, track.y_mm]) - places
    assert np.hypot(*off.T).max() < 1.5
    lasting = np.sqrt(sum(shift**2 for shift in track.shifts_mm.values()))
    assert (np.abs(off) < 2.5 * lasting).all()
    assert np.abs(track.heading_rad - headings).max() < 0.02  # the hull shows how far the print is turned
    assert track.outline_mm[:, 0].max() == pytest.approx(BOW_MM, abs=1.5)
    assert (track.quality == MEASURED).all()


def test_where_the_outline_around_the_print_does_not_go_with_it_the_hull_is_learnt_without_it(run, monkeypatch) -> None:
    recording, rig, places, _ = run

    def turned(*given: Any, **more: Any) -> Any:
        around = learnt_around(*given, **more)
        assert isinstance(around, Around)
        learnt = replace(around.learnt, heading_rad=around.learnt.heading_rad - 0.4)
        return replace(around, learnt=learnt, is_rough=False)

    monkeypatch.setattr("logger.vision.tagged.learnt_around", turned)
    track = track_tagged(recording, rig)
    assert isinstance(track, Track)
    assert (track.quality == MEASURED).all()
    assert np.hypot(*(np.column_stack([track.x_mm, track.y_mm]) - places).T).max() < 1.5


def test_a_hidden_stretch_is_lost_and_not_invented(tmp_path) -> None:
    recording, rig, _, _ = tagged_run(tmp_path, count=60, hidden=range(25, 31))
    poses = tag_poses(recording, rig)
    assert sorted(set(range(60)) - set(poses.frame.tolist())) == list(range(25, 31))


def test_another_number_than_the_cards_is_told(tmp_path) -> None:
    recording, rig, _, _ = tagged_run(tmp_path, count=16, on_card=boat(number=21))
    found = track_tagged(recording, rig)
    assert isinstance(found, NotFound)
    assert found.reason == "the square number 21 of the boat card is not seen, but number 7 is"


def test_a_size_that_is_not_the_cards_makes_all_doubtful(tmp_path) -> None:
    recording, rig, _, _ = tagged_run(tmp_path, count=24, on_card=boat(size_mm=37.5))
    track = track_tagged(recording, rig)
    assert isinstance(track, Track)
    assert "the boat card says 37.5 mm" in track.flags[0]
    assert (track.quality == DOUBTFUL).all()


def test_a_number_that_does_not_exist_is_told(run) -> None:
    recording, rig, _, _ = run
    card = replace(recording.card, boat=boat(number=400))
    found = tag_poses(replace(recording, card=card), rig)
    assert isinstance(found, NotFound)
    assert "found number 400" in found.reason


@pytest.mark.parametrize(("wide_px", "is_told"), [(9.0, True), (30.0, False)])
def test_a_print_that_is_not_seen_and_is_small_in_the_picture_is_told_so(
    tmp_path, wide_px: float, is_told: bool
) -> None:
    recording, rig, _, _ = tagged_run(tmp_path, count=12, hidden=range(12))
    plane = Plane(recording.view, 20.0)
    card = recording.card
    disc = Tag("disc", None, size_mm=wide_px * plane.step_mm(plane.foot_mm), height_mm=20.0)
    found = tag_poses(replace(recording, card=replace(card, boat=replace(card.boat, tag=disc))), rig)
    assert isinstance(found, NotFound)
    assert found.reason.startswith("the disc of the boat card is not seen in any of")
    told = ", in which it is only 9 pixels wide; print it larger or hang the camera lower"
    assert found.reason.endswith(told) == is_told
