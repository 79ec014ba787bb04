from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from logger.vision import outline
from logger.vision.card import Card
from logger.vision.plane import Plane
from logger.vision.tag.hull import Around, Usual, likeliest
from tests.logger.vision.tag.seen import around_of, seen_at
from tests.logger.vision.tagged_run import BOW_MM, TOY, TURN_RAD


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    return seen_at(tmp_path_factory.mktemp("hull"))


def test_the_hull_is_learnt_print_and_all(shown) -> None:
    around = around_of(*shown)
    assert isinstance(around, Around), around
    size = outline.extents(around.learnt.hull.waterline(around.deck.height_mm))
    assert size == pytest.approx((TOY.length_mm, TOY.width_mm), abs=2.5)
    assert not around.learnt.is_crinkled


def halved(seen, view):
    """The same with its fore part in the floor's light: no silhouette is as long as the card says."""
    pictures = {}
    for n, picture in seen.pictures.items():
        turned = seen.heading_rad[n] - TURN_RAD
        band = outline.turned(np.array([[62.0, -70], [140, -70], [140, 70], [62, 70]]), turned) + seen.place_mm[n]
        corners = np.round(Plane(view, TOY.freeboard_mm).pixels(band)).astype(np.int32)
        pictures[n] = cv2.fillConvexPoly(picture.copy(), corners, int(np.median(picture)))
    return replace(seen, pictures=pictures)


def test_a_boat_without_a_silhouette_is_learnt_from_its_usual_shape_and_is_doubtful(shown) -> None:
    seen, view = shown
    around = around_of(halved(seen, view), view)
    assert isinstance(around, Around), around
    assert around.learnt.is_crinkled
    assert around.learnt.hull.waterline(around.deck.height_mm)[:, 0].max() == pytest.approx(
        BOW_MM, abs=14
    )  # its very bow is not seen
    turned = around.learnt.heading_rad - [seen.heading_rad[n] for n in around.found.numbers.tolist()]
    assert np.ptp(turned) < 1e-6  # held by the print
    assert turned[0] == pytest.approx(-TURN_RAD, abs=0.03)


def test_an_outline_of_another_size_than_the_cards_is_refused(shown) -> None:
    assert isinstance(around_of(*shown, Card(TOY.freeboard_mm, 1.2, 250.0, 1.0, TOY.width_mm, 1.0)), str)


def test_without_a_length_there_is_nothing_to_compare_with(shown) -> None:
    assert around_of(*shown, Card(TOY.freeboard_mm, 1.2)) == "the boat card says no length"


def test_a_boat_that_stays_where_it_is_cannot_be_told_from_the_floor(shown) -> None:
    seen, view = shown
    first = {n: seen.place_mm[n] for n in sorted(seen.place_mm)[:2]}
    found = around_of(replace(seen, place_mm=first), view)
    assert isinstance(found, str)
    assert "does not come far enough" in found


def test_a_barge_has_the_length_width_and_bow_of_the_usual_boat() -> None:
    pointed = np.array([[120.0, 0.0], [40.0, 50.0], [-80.0, 50.0], [-80.0, -50.0], [40.0, -50.0]])
    usual = Usual(pointed - outline.moments(pointed)[1], (10.0, 2.0))
    barge = usual.boxed()
    area, centre, _ = outline.moments(barge.outline_mm)
    assert centre == pytest.approx([0.0, 0.0], abs=0.1)
    assert 0.98 * 200 * 100 < area < 200 * 100
    from_tag, as_usual = (shape.outline_mm + np.array(shape.centroid_mm) for shape in (barge, usual))
    assert from_tag.max(axis=0) == pytest.approx(as_usual.max(axis=0))
    assert from_tag.min(axis=0) == pytest.approx(as_usual.min(axis=0))


def test_of_two_hulls_the_one_of_the_cards_size_is_taken_and_a_rival_of_that_size_is_doubt(shown) -> None:
    around = around_of(*shown)
    assert isinstance(around, Around), around
    learnt, card = around.learnt, around.card
    clearer = np.where(np.isfinite(learnt.hull.noise), 0.5 * learnt.hull.noise, np.inf)
    small = replace(learnt, hull=replace(learnt.hull, edge_mm=0.9 * learnt.hull.edge_mm, noise=clearer))
    assert likeliest([around, replace(around, learnt=small)], card).learnt is learnt
    c, s = np.cos(learnt.heading_rad), np.sin(learnt.heading_rad)
    ahead = replace(learnt, place_mm=learnt.place_mm + 6.0 * np.column_stack([c, s]))
    alone, beside = likeliest([around], card), likeliest([around, replace(around, learnt=ahead)], card)
    assert alone.u_start_mm == pytest.approx((0.0, 0.0))
    assert beside.u_start_mm == pytest.approx((6 / np.sqrt(2), 0.0), abs=1e-9)  # spread of a sample of two
