from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from logger.vision.hull import Hull, look
from logger.vision.outline import laid_out, normals

BOX = np.array([[-100.0, -40.0], [100.0, -40.0], [100.0, 40.0], [-100.0, 40.0]])


def hull(*, taper: float = 0.0, freeboard_mm: float = 20.0, blur_mm: float = 1.2) -> Hull:
    edge, is_corner = laid_out(BOX, 48, blunt_mm=5)
    offsets = np.arange(-8.0, 25.0, 0.5)
    rays = len(edge)
    return Hull(
        edge_mm=edge,
        normal=normals(edge, is_corner),
        is_corner=is_corner,
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
    reach = boat.walls().reach(np.array([[700.0, 0.0]]), np.zeros(1), 20 / 1400).mm[0]
    stern, bow = boat.normal[:, 0] < -0.9, boat.normal[:, 0] > 0.9
    assert reach[stern] == pytest.approx(np.full(stern.sum(), 10.0))
    assert reach[bow] == pytest.approx(np.full(bow.sum(), -10.0))
    turned = boat.walls().reach(np.array([[700.0, 0.0]]), np.array([np.pi]), 20 / 1400).mm[0]
    assert turned[bow] == pytest.approx(np.full(bow.sum(), 10.0))


def oval(*, taper: float) -> Hull:
    angles = np.arange(60) * (2 * np.pi / 60)
    edge = np.column_stack([100 * np.cos(angles), 40 * np.sin(angles)])
    none = np.zeros(60, bool)
    return Hull(**{**fields(hull()), "edge_mm": edge, "normal": normals(edge, none), "is_corner": none, "taper": taper})


def test_the_wall_of_a_bent_side_ends_where_the_ray_meets_the_moved_waterline() -> None:
    """The waterline of an oval boat is the oval, smaller and moved; a ray meets it where a quadratic equation says."""
    boat, move, smaller = oval(taper=0.02), np.array([-9.0, 5.0]), 0.98
    reach = boat.walls().reach(-move * 100, np.zeros(1), 0.01).mm[0]
    axes = smaller * np.array([100.0, 40.0])
    start, way = (boat.edge_mm - move) / axes, boat.normal / axes
    a, b, c = (way**2).sum(axis=1), 2 * (start * way).sum(axis=1), (start**2).sum(axis=1) - 1
    meets = (-b + np.sqrt(np.maximum(b * b - 4 * a * c, 0))) / (2 * a)
    seen = meets > 1
    assert seen.sum() > 20
    off = np.abs(reach[seen] - meets[seen])
    straight = boat.normal @ move - 0.02 * boat.span()
    assert off.mean() < 0.1
    assert np.abs(straight[seen] - meets[seen]).mean() > 0.3


@pytest.mark.parametrize("heading", [0.0, 0.7])
def test_the_reach_of_walls_changes_as_its_derivatives_say(heading: float) -> None:
    boat, h = oval(taper=0.02), 1e-6
    away, turn = np.array([[600.0, -200.0]]), np.array([heading])
    at = boat.walls().reach(away, turn, 0.015)
    steeper = boat.walls().reach(away, turn, 0.015 + h).mm
    smaller = oval(taper=0.02 + h).walls().reach(away, turn, 0.015).mm
    assert at.by_slope == pytest.approx((steeper - at.mm) / h, rel=1e-3, abs=0.1)
    assert at.by_taper == pytest.approx((smaller - at.mm) / h, rel=1e-3, abs=0.1)


def test_near_a_sharp_bow_rays_do_not_look_across_to_the_other_side() -> None:
    wedge = np.array([[-60.0, -30.0], [90.0, 0.0], [-60.0, 30.0]])
    edge, is_corner = laid_out(wedge, 48, blunt_mm=5)
    none = np.zeros((len(edge), len(hull().offsets_mm)))
    sharp = Hull(
        **{**fields(hull()), "edge_mm": edge, "normal": normals(edge, is_corner), "is_corner": is_corner, "deck": none}
    )
    own = sharp.own()
    deep = sharp.offsets_mm < -6
    near = ~is_corner & (edge[:, 0] > 60) & (np.abs(edge[:, 1]) < 3)
    middle = ~is_corner & (np.abs(edge[:, 0]) < 20)
    assert near.sum() >= 1
    assert middle.sum() >= 4
    assert not own[near][:, deep].any()
    assert own[middle].all()
    assert not own[is_corner & (edge[:, 0] > 80)].any()


def test_a_ray_shows_deck_then_wall_then_water() -> None:
    boat = hull()
    rays, samples = boat.deck.shape
    drawn = look(boat, np.full((1, rays, samples), 150.0), np.full((1, rays), 12.0)).grey[0, 0]
    at = {t: drawn[np.argmin(np.abs(boat.offsets_mm - t))] for t in (-6.0, 6.0, 20.0)}
    assert at == pytest.approx({-6.0: 30, 6.0: 60, 20.0: 150}, abs=0.1)
    assert drawn[np.argmin(np.abs(boat.offsets_mm))] == pytest.approx(45, abs=0.1)


@pytest.mark.parametrize(("reach", "bend"), [(-3.0, 0.0), (-3.0, 0.3), (0.4, 0.0), (9.0, 0.0), (9.0, 0.3)])
def test_derivatives_are_those_of_finite_differences(reach: float, bend: float) -> None:
    boat, h = replace(hull(), wall_bend=bend), 1e-5
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


def test_a_wall_whose_light_mixes_crookedly_with_the_water_does_not_move_its_foot() -> None:
    """Drawn with the bend, a straight mixture of s + 0.2·s·(1 - s) is met exactly; without it the foot would shift."""
    boat, reach = hull(), np.full((1, len(hull().edge_mm)), 9.0)
    water = np.full((1, *boat.deck.shape), 150.0)
    share = ndtr((9.0 - boat.offsets_mm) / boat.blur_mm)
    foot = boat.offsets_mm > 5
    seen = 150 + (60 - 150) * (share + 0.2 * share * (1 - share))
    bent = look(replace(boat, wall_bend=0.2), water, reach).grey[0]
    straight = look(boat, water, reach).grey[0]
    assert bent[:, foot] == pytest.approx(np.tile(seen[foot], (len(bent), 1)), abs=0.01)
    assert np.abs(straight[:, foot] - seen[foot]).max() > 3
