"""The painted run of a toy with a print on its deck, picture by picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.config import Boat, Tag
from logger.records import Frame
from logger.vision.live.tag import Spot, TagFollower
from tests.logger.vision.tagged_run import BOW_MM, TOY, boat, tagged_run

HIDDEN = range(28, 31)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return tagged_run(tmp_path_factory.mktemp("live tag"), count=60, hidden=HIDDEN)


@pytest.fixture(scope="module")
def disc_run(tmp_path_factory):
    disc = Tag("disc", size_mm=36.0, height_mm=TOY.freeboard_mm + 2)
    return tagged_run(
        tmp_path_factory.mktemp("live disc"), tag=disc, on_card=boat(kind="disc", number=None, size_mm=36.0)
    )


def followed(run, *, near=None, tag=None, seen=None) -> list[Spot | None]:
    recording, rig, _, _ = run
    card = recording.card.boat if tag is None else replace(recording.card.boat, tag=tag)
    follower = TagFollower(card, recording.view, rig.tank)
    spots = []
    for frame in recording.frames():
        spot = follower.feed(frame, near)
        if seen is not None and spot is not None and spot.is_seen:
            follower.hull_at(spot, seen(frame.sequence))
        spots.append(spot)
    return spots


def off_mm(run, spots) -> np.ndarray:
    _, _, places, _ = run
    return np.array([np.inf if s is None else np.hypot(*(s.place_mm - p)) for s, p in zip(spots, places, strict=True)])


def test_a_square_is_found_by_its_number_and_followed(run) -> None:
    spots = followed(run)
    first = next(n for n, spot in enumerate(spots) if spot is not None)
    assert first < 3
    off = off_mm(run, spots)
    seen = [n for n in range(first, 60) if n not in HIDDEN]
    assert off[seen].max() < 6, "the card knows the centroid to a share of the length"
    headings = run[3]
    assert max(abs(spots[n].heading_rad - headings[n]) for n in seen) < 0.04
    bow = [
        spots[n].place_mm + spots[n].bow_mm * np.array([np.cos(h), np.sin(h)])
        for n, h in enumerate(headings)
        if n in seen
    ]
    true = run[2][seen] + BOW_MM * np.column_stack([np.cos(headings[seen]), np.sin(headings[seen])])
    assert np.hypot(*(np.array(bow) - true).T).max() < 2.5, "and the bow from a ruler"


def test_where_it_is_hidden_it_is_carried_on_and_said_to_be(run) -> None:
    spots = followed(run)
    assert [spots[n].is_seen for n in range(26, 33)] == [True, True, False, False, False, True, True]
    assert off_mm(run, spots)[list(HIDDEN)].max() < 15


def test_hulls_that_were_seen_mend_what_the_card_guesses(run) -> None:
    _, _, places, _ = run
    spots = followed(run, seen=lambda n: tuple(places[n]))
    assert np.median(off_mm(run, spots)[20:]) < 0.7 * np.median(off_mm(run, followed(run))[20:])


def test_a_disc_is_found_near_the_boat_and_headed_as_it_travels(disc_run) -> None:
    x, y = disc_run[2][0] + 12.0
    spots = followed(disc_run, near=(float(x), float(y), 0.1))
    assert spots[0] is not None
    assert off_mm(disc_run, spots).max() < 6
    assert max(abs(spots[n].heading_rad - disc_run[3][n]) for n in range(20, 45)) < 0.06


def test_another_number_is_none(run) -> None:
    tag = replace(run[0].card.boat.tag, number=run[0].card.boat.tag.number + 1)
    assert followed(run, tag=tag) == [None] * 60


def test_a_picture_that_is_no_jpeg_is_looked_at_too(run) -> None:
    recording, rig, _, _ = run
    follower = TagFollower(recording.card.boat, recording.view, rig.tank)
    bare = [Frame(f.t_ns, f.image, f.sequence, f.source) for f in recording.frames()]
    spots = [follower.feed(frame, None) for frame in bare]
    assert sum(spot is not None and spot.is_seen for spot in spots) == 60 - len(HIDDEN) - spots.index(
        next(filter(None, spots))
    )


def test_a_boat_without_a_tag_cannot_be_followed_by_one(run) -> None:
    with pytest.raises(ValueError, match="no tag on the boat card"):
        TagFollower(Boat("toy"), run[0].view, run[1].tank)
