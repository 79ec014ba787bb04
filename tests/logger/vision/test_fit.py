from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from logger.vision import outline
from logger.vision.fit import Fitter
from tests.logger.vision.conftest import Painted
from tests.logger.vision.painted import camera, floor, paint


@pytest.fixture(scope="module")
def fitter(painted: Painted) -> Fitter:
    return Fitter(painted.learnt.hull, painted.plane, painted.found.water)


def test_it_comes_back_from_several_pixels_away(painted: Painted, fitter: Fitter) -> None:
    k = len(painted.found.numbers) // 2
    picture, true = painted.found.pictures[k], painted.on_plane(painted.found.numbers[k : k + 1])[0]
    heading = float(painted.headings_rad[painted.found.numbers[k]])
    found = fitter.fit(picture, place_mm=true + np.array([4.0, -3.0]), heading_rad=heading + 0.04, steps=10)
    assert found.good
    assert np.hypot(*(found.place_mm - true)) < 0.2
    assert found.heading_rad == pytest.approx(heading, abs=0.003)
    assert found.strength == pytest.approx(1, abs=0.05)


def test_over_plain_water_it_is_not_good(painted: Painted, fitter: Fitter) -> None:
    found = fitter.fit(painted.found.pictures[0], place_mm=np.array([500.0, -200.0]), heading_rad=0.0)
    assert not found.good
    assert found.strength < 0.4


def test_outside_the_picture_it_knows_nothing_and_says_so(painted: Painted, fitter: Fitter) -> None:
    found = fitter.fit(painted.found.pictures[0], place_mm=np.array([9000.0, 0.0]), heading_rad=0.0)
    assert not found.good
    assert found.known == 0


def test_the_stated_noise_is_the_scatter_of_many_pictures(painted: Painted, fitter: Fitter) -> None:
    """Thirty pictures that differ by noise only: the scatter is not larger than stated, and not a tenth of it."""
    view, rng = camera(), np.random.default_rng(5)
    empty = floor(view)
    places, stated = [], []
    for _ in range(30):
        picture = paint(view, painted.toy, empty, x_mm=400.3, y_mm=60.2, heading_rad=0.1, rng=rng)
        found = fitter.fit(picture, place_mm=np.array([400.0, 60.0]), heading_rad=0.1)
        places.append(found.place_mm)
        stated.append(np.sqrt(np.diag(found.covariance)[:2]))
    scatter, said = np.std(places, axis=0), np.mean(stated, axis=0)
    assert (scatter < 1.2 * said).all()
    assert (scatter > 0.1 * said).all()


def test_a_search_that_has_not_come_to_its_end_is_not_good(painted: Painted, fitter: Fitter) -> None:
    picture, true = painted.found.pictures[0], painted.on_plane(painted.found.numbers[:1])[0]
    heading = float(painted.headings_rad[painted.found.numbers[0]])
    begun = fitter.fit(picture, place_mm=true + np.array([6.0, 0.0]), heading_rad=heading, steps=1)
    ended = fitter.fit(picture, place_mm=true + np.array([6.0, 0.0]), heading_rad=heading, steps=12)
    assert not begun.is_settled
    assert not begun.good
    assert ended.is_settled
    assert ended.good


def test_many_pictures_together_give_what_each_gives_alone(painted: Painted, fitter: Fitter) -> None:
    chosen = slice(0, len(painted.found.numbers), 5)
    pictures = painted.found.pictures[chosen]
    places = painted.on_plane(painted.found.numbers[chosen]) + 1.0
    headings = painted.headings_rad[painted.found.numbers[chosen]]
    together = fitter.fits(pictures, place_mm=places, heading_rad=headings)
    for picture, place, heading, fit in zip(pictures, places, headings, together, strict=True):
        alone = fitter.fit(picture, place_mm=place, heading_rad=float(heading))
        assert fit.place_mm == pytest.approx(alone.place_mm, abs=0.01)
        assert fit.covariance == pytest.approx(alone.covariance, rel=0.05, abs=1e-6)


def test_half_the_rays_tell_the_same_place(painted: Painted, fitter: Fitter) -> None:
    thinned = Fitter(painted.learnt.hull.thinned(), painted.plane, painted.found.water)
    assert len(thinned.hull.edge_mm) < 0.7 * len(fitter.hull.edge_mm)
    assert thinned.hull.is_corner.sum() == fitter.hull.is_corner.sum()
    k = len(painted.found.numbers) // 2
    start = {
        "place_mm": painted.on_plane(painted.found.numbers[k : k + 1])[0],
        "heading_rad": float(painted.headings_rad[painted.found.numbers[k]]),
    }
    off = (
        thinned.fit(painted.found.pictures[k], **start).place_mm
        - fitter.fit(painted.found.pictures[k], **start).place_mm
    )
    assert np.hypot(*off) < 0.1


def test_parts_of_an_outline_that_disagree_are_told_and_widen_the_doubt(painted: Painted) -> None:
    """Something of the boat's own light stands out beyond its stern in rough water, as a sail does."""
    rough = replace(painted.learnt.hull, noise=10 * painted.learnt.hull.noise)
    fitter = Fitter(rough, painted.plane, painted.found.water)
    number = painted.found.numbers[len(painted.found.numbers) // 2]
    picture = painted.found.pictures[len(painted.found.numbers) // 2].copy()
    place, heading = painted.on_plane(np.array([number]))[0], float(painted.headings_rad[number])
    usual = fitter.fit(picture, place_mm=place, heading_rad=heading)
    stern = painted.learnt.hull.outline()[:, 0].min()
    beyond = np.array([[stern - 4.0, -18.0], [stern + 12.0, -18.0], [stern + 12.0, 18.0], [stern - 4.0, 18.0]])
    corners = painted.plane.pixels(outline.turned(beyond, heading) + place)
    u, v = painted.plane.pixels(place[None])[0]
    cv2.fillConvexPoly(picture, np.round(corners).astype(np.int32), int(picture[round(v), round(u)]))
    drawn = fitter.fit(picture, place_mm=place, heading_rad=heading)
    assert drawn.u_parts_mm > 3 * usual.u_parts_mm
    assert drawn.u_parts_mm > 0.6 * np.hypot(*(drawn.place_mm - usual.place_mm))
    assert np.trace(drawn.covariance[:2, :2]) >= drawn.u_parts_mm**2 - 1e-9
