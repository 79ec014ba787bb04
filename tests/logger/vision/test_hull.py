from __future__ import annotations

import numpy as np
import pytest

from logger.vision.hull import Hull, look
from logger.vision.outline import laid_out, normals

BOX = np.array([[-100.0, -40.0], [100.0, -40.0], [100.0, 40.0], [-100.0, 40.0]])


def hull(*, taper: float = 0.0, freeboard_mm: float = 20.0, blur_mm: float = 1.2) -> Hull:
    edge, breaks = laid_out(BOX, 48, blunt_mm=5)
    offsets = np.arange(-8.0, 25.0, 0.5)
    rays = len(edge)
    return Hull(
        edge_mm=edge,
        normal=normals(edge, breaks),
        breaks=breaks,
        offsets_mm=offsets,
        deck=np.full((rays, len(offsets)), 30.0),
        wall=np.full(rays, 60.0),
        noise=np.ones((rays, len(offsets))),
        freeboard_mm=freeboard_mm,
        taper=taper,
        blur_mm=blur_mm,
    )


def test_the_wall_is_seen_on_the_side_that_faces_the_foot_point_and_as_wide_as_triangles_say() -> None:
    """At r = 700 mm under a lens 1400 mm up, a wall 20 mm high shows 700·20/1400 = 10 mm on the deck's plane."""
    boat = hull()
    lever = boat.wall_lever(np.array([[700.0, 0.0]]), np.zeros(1), np.zeros(2))[0] * 20 / 1400
    stern, bow = boat.normal[:, 0] < -0.9, boat.normal[:, 0] > 0.9
    assert lever[stern] == pytest.approx(np.full(stern.sum(), 10.0))
    assert lever[bow] == pytest.approx(np.full(bow.sum(), -10.0))
    turned = boat.wall_lever(np.array([[700.0, 0.0]]), np.array([np.pi]), np.zeros(2))[0] * 20 / 1400
    assert turned[bow] == pytest.approx(np.full(bow.sum(), 10.0))


def test_a_ray_shows_deck_then_wall_then_water() -> None:
    boat = hull()
    rays, samples = boat.deck.shape
    drawn = look(boat, np.full((1, rays, samples), 150.0), np.full((1, rays), 12.0)).grey[0, 0]
    at = {t: drawn[np.argmin(np.abs(boat.offsets_mm - t))] for t in (-6.0, 6.0, 20.0)}
    assert at == pytest.approx({-6.0: 30, 6.0: 60, 20.0: 150}, abs=0.1)
    assert drawn[np.argmin(np.abs(boat.offsets_mm))] == pytest.approx(45, abs=0.1)


@pytest.mark.parametrize("reach", [-3.0, 0.4, 9.0])
def test_derivatives_are_those_of_finite_differences(reach: float) -> None:
    boat, h = hull(), 1e-5
    shape = (1, *boat.deck.shape)
    water, seen = np.full(shape, 150.0), np.full(shape[:2], reach)
    drawn = look(boat, water, seen)
    moved = [Hull(**{**fields(boat), "offsets_mm": boat.offsets_mm - sign * h}) for sign in (1, -1)]
    by_shift = (look(moved[0], water, seen).grey - look(moved[1], water, seen).grey) / (2 * h)
    assert drawn.by_shift == pytest.approx(by_shift, abs=1e-4)
    blurred = [Hull(**{**fields(boat), "blur_mm": boat.blur_mm + sign * h}) for sign in (1, -1)]
    by_blur = (look(blurred[0], water, seen).grey - look(blurred[1], water, seen).grey) / (2 * h)
    assert drawn.by_blur == pytest.approx(by_blur, abs=1e-4)
    by_reach = (look(boat, water, seen + h).grey - look(boat, water, seen - h).grey) / (2 * h)
    assert drawn.by_reach == pytest.approx(by_reach, abs=1e-4)


def fields(boat: Hull) -> dict[str, object]:
    return {name: getattr(boat, name) for name in Hull.__dataclass_fields__}


def test_the_waterline_is_the_deck_less_its_taper_at_its_true_size() -> None:
    flare, height = 0.03, 1400.0
    taper = 1 - (1 - flare) * (1 - 20 / height)
    waterline = hull(taper=taper).waterline(height)
    assert np.ptp(waterline, axis=0) == pytest.approx([200 * (1 - flare), 80 * (1 - flare)], rel=1e-6)


def test_a_turn_moves_edge_points_by_their_arms() -> None:
    boat, h = hull(), 1e-6
    c, s = np.cos(h), np.sin(h)
    turned = boat.edge_mm @ np.array([[c, s], [-s, c]])
    assert ((turned - boat.edge_mm) * boat.normal).sum(axis=1) / h == pytest.approx(boat.arms(), abs=1e-3)
