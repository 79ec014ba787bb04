from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.config import Tag
from logger.vision.film import StoredFilm
from logger.vision.fit import Fit
from logger.vision.tag.gaps import Laid, astray, filled, headed
from logger.vision.tag.seat import Seat, seat
from logger.vision.tag.track import Poses
from logger.vision.tagged import track_tagged
from logger.vision.track import MEASURED, Track
from tests.logger.vision.tag.seen import around_of, seen_at
from tests.logger.vision.tagged_run import SEAT_MM, TOY, Bowl, boat, tagged_run

HIDDEN = range(25, 31)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return tagged_run(tmp_path_factory.mktemp("gaps"), count=60, hidden=HIDDEN)


@pytest.fixture(scope="module")
def laid(tmp_path_factory) -> tuple[Laid, Seat, Poses]:
    seen, view = seen_at(tmp_path_factory.mktemp("laid"))
    around = around_of(seen, view)
    plane = replace(around.deck, z_mm=TOY.freeboard_mm + 2)
    found = seat(seen, around, plane, boat().tag)
    assert isinstance(found, Seat)
    numbers = np.array(sorted(seen.place_mm))
    place = np.array([seen.place_mm[n] for n in numbers.tolist()])
    heading = np.array([seen.heading_rad[n] for n in numbers.tolist()])
    cov = np.tile(np.diag([0.01, 0.01, 1e-6]), (len(numbers), 1, 1))
    poses = Poses(numbers, numbers * 33_333_333, place, heading, cov, np.zeros(len(numbers), bool), plane, 48)
    return Laid(found, around), found, poses


def test_a_print_that_is_hidden_is_where_its_hull_says(run) -> None:
    recording, rig, places, headings = run
    track = track_tagged(recording, rig)
    assert isinstance(track, Track)
    assert track.frame.tolist() == list(range(60))
    off = np.hypot(*(np.column_stack([track.x_mm, track.y_mm]) - places).T)
    beside = np.delete(off, list(HIDDEN))
    assert off[list(HIDDEN)].max() < beside.max() + 0.5
    assert np.abs(track.heading_rad - headings).max() < 0.02
    assert (track.quality == MEASURED).all()
    noise = np.trace(track.noise_mm2, axis1=1, axis2=2)
    assert noise[27] > noise[20]  # a hull is not read as finely as a print


def test_from_print_to_hull_and_back(laid) -> None:
    it, found, poses = laid
    place, heading = it.hulls(poses)
    fit = Fit(place[3], float(heading[3]), np.diag([0.04, 0.04, 1e-4]), 1.0, 1.0, 1.0, 1.0)
    back, turned, covariance = it.print(fit)
    assert back == pytest.approx(poses.place_mm[3], abs=1e-6)
    assert turned == pytest.approx(poses.heading_rad[3])
    turned_more, _, _ = it.print(replace(fit, heading_rad=fit.heading_rad + 1e-4))
    lever = np.eye(3)
    lever[:2, 2] = (turned_more - back) / 1e-4
    scatter = covariance - lever @ fit.covariance @ lever.T
    assert np.linalg.eigvalsh(scatter)[1:] == pytest.approx(sorted(np.square(found.scatter_mm)), rel=0.05)


def test_a_hull_laid_over_something_else_is_astray() -> None:
    t = np.arange(9) / 30
    place = np.column_stack([900 * t**2, np.zeros(9)])
    place[5, 1] = 9.0
    assert astray(t, place, np.full(9, 1.5)).tolist() == [n == 5 for n in range(9)]
    assert not astray(t, place, np.full(9, 4.0)).any()


def test_nothing_is_filled_in_without_a_hull(laid, run) -> None:
    _, found, poses = laid
    recording, rig, _, _ = run
    bare = replace(found, around=None)
    assert filled(poses, bare, StoredFilm(recording), stamps=recording.stamps, rig=rig) is poses
    assert headed(poses, bare, StoredFilm(recording)) is poses


@pytest.mark.parametrize("leeway_rad", [0.0, 0.12])
def test_a_disc_is_headed_as_its_hull(tmp_path, leeway_rad: float) -> None:
    """Travel is beside the bow, by up to 7° where the boat is blown sideways; the axis is not."""
    disc = Tag("disc", size_mm=36.0, height_mm=TOY.freeboard_mm + 2)
    card = boat(kind="disc", number=None, size_mm=36.0)
    recording, rig, places, headings = tagged_run(tmp_path, tag=disc, on_card=card, leeway_rad=leeway_rad)
    track = track_tagged(recording, rig)
    assert isinstance(track, Track)
    off = np.abs((track.heading_rad - headings + np.pi) % (2 * np.pi) - np.pi)
    assert (off < np.maximum(0.02, 3 * track.u_heading_rad)).all()
    assert np.percentile(off, 90) < 0.015
    assert np.median(track.u_heading_rad) < np.radians(0.3)
    assert np.hypot(*(np.column_stack([track.x_mm, track.y_mm]) - places).T).max() < 1.5


def test_a_round_boat_is_headed_as_its_disc_lies_beside_its_middle(tmp_path) -> None:
    """It travels up to 7° beside its bow and has no axis; the card knows where the disc lies within a degree."""
    bowl, seat_mm = Bowl(length_mm=120.0), (-35.0, 3.0)
    disc = Tag("disc", size_mm=30.0, height_mm=bowl.freeboard_mm + 2, bow_ahead_mm=95.0, left_mm=3.0, u_left_mm=0.6)
    card = replace(boat(), length_mm=120.0, width_mm=120.0, tag=disc)
    recording, rig, places, headings = tagged_run(
        tmp_path, tag=disc, on_card=card, toy=bowl, seat_mm=seat_mm, leeway_rad=0.12
    )
    track = track_tagged(recording, rig)
    assert isinstance(track, Track)
    off = np.abs((track.heading_rad - headings + np.pi) % (2 * np.pi) - np.pi)
    assert off.max() < 0.02
    assert np.median(track.u_heading_rad) == pytest.approx(0.6 / np.hypot(*seat_mm), rel=0.1)
    assert np.hypot(*(np.column_stack([track.x_mm, track.y_mm]) - places).T).max() < 0.8


def test_a_disc_at_rest_before_its_first_travel_is_headed_from_what_is_seen_afterwards(laid, tmp_path) -> None:
    it, found, _ = laid
    recording, _, places, headings = tagged_run(tmp_path, count=48)
    c, s = np.cos(headings), np.sin(headings)
    ahead, left = SEAT_MM
    place = places + np.column_stack([c * ahead - s * left, s * ahead + c * left])
    plane, heading = replace(it.deck, z_mm=TOY.freeboard_mm + 2), headings - found.turn_rad
    heading[:14] += 0.3  # no travel tells, or a wrong one
    cov = np.tile(np.diag([0.01, 0.01, 0.1]), (48, 1, 1))
    poses = Poses(np.arange(48), np.arange(48) * 33_333_333, place, heading, cov, np.zeros(48, bool), plane, 48)
    told = headed(poses, found, StoredFilm(recording))
    assert np.abs(told.heading_rad[:12] - headings[:12]).max() < 0.02
    assert np.sqrt(told.covariance[:12, 2, 2]).max() < 0.03
