from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.special import ndtr
from skimage.draw import polygon2mask
from skimage.measure import regionprops

from logger.vision import outline

RECTANGLE = np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 20.0], [0.0, 20.0]])
WEDGE = np.array([[100.0, 0.0], [40.0, 30.0], [-60.0, 28.0], [-60.0, -28.0], [40.0, -30.0]])


def test_moments_of_a_rectangle_are_those_of_the_handbook() -> None:
    """Area a·b, second moments over area a²/12 and b²/12 (any table of plane sections; from memory)."""
    area, centre, second = outline.moments(RECTANGLE)
    assert area == pytest.approx(1200)
    assert centre == pytest.approx([30, 10])
    assert second == pytest.approx(np.diag([300, 400 / 12]))


def test_moments_agree_with_scikit_image_on_a_finely_drawn_shape() -> None:
    """scikit-image 0.26, regionprops: centroid, inertia_tensor (its axes are row and column)."""
    scale = 8
    drawn = polygon2mask((600 * 2, 1000 * 2), (WEDGE + np.array([80, 60]))[:, ::-1] * scale)
    region = regionprops(drawn.astype(np.uint8))[0]
    area, centre, second = outline.moments(WEDGE)
    assert area == pytest.approx(region.area / scale**2, rel=2e-3)
    assert centre == pytest.approx(np.array(region.centroid[::-1]) / scale - (80, 60), abs=0.1)
    # the tensor of inertia holds rotation about the row axis in its row place: spread along the columns
    assert second[0, 0] == pytest.approx(region.inertia_tensor[0, 0] / scale**2, rel=5e-3)
    assert second[1, 1] == pytest.approx(region.inertia_tensor[1, 1] / scale**2, rel=5e-3)


@given(st.floats(-3, 3), st.floats(-500, 500), st.floats(-500, 500))
def test_turning_and_moving_a_shape_turns_and_moves_its_moments(angle: float, dx: float, dy: float) -> None:
    area, centre, _ = outline.moments(WEDGE)
    moved_area, moved_centre, second = outline.moments(outline.turned(WEDGE, angle) + np.array([dx, dy]))
    assert moved_area == pytest.approx(area)
    assert moved_centre == pytest.approx(outline.turned(centre[None], angle)[0] + (dx, dy), abs=1e-6)
    axis_rad, elongation = outline.axis(second)
    assert np.cos(2 * (axis_rad - angle)) == pytest.approx(1, abs=1e-6)
    assert elongation > 1.5


def test_a_wedge_has_five_corners_and_a_circle_none() -> None:
    angles = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    circle = 50 * np.column_stack([np.cos(angles), np.sin(angles)])
    assert len(outline.corners(WEDGE, blunt_mm=8, least_turn_rad=0.4)) == 5
    assert len(outline.corners(circle, blunt_mm=8)) == 0


def test_corners_cut_off_between_rays_are_put_back() -> None:
    points, is_corner = outline.laid_out(RECTANGLE, 40, blunt_mm=4)
    assert is_corner.sum() == 4
    assert abs(outline.moments(points[~is_corner])[0]) < 1200 - 20
    whole = outline.sharpened(points, is_corner, blur_mm=1)
    assert outline.moments(whole)[0] == pytest.approx(1200, rel=1e-6)
    assert outline.extents(whole) == pytest.approx((60, 20))


def test_normals_point_outward_and_none_looks_across_a_corner() -> None:
    points, is_corner = outline.laid_out(RECTANGLE, 40, blunt_mm=4)
    normal = outline.normals(points, is_corner)
    assert np.abs(normal[~is_corner]).max(axis=1) == pytest.approx(1, abs=1e-9)
    assert np.abs(normal[is_corner]) == pytest.approx(np.full((4, 2), np.sqrt(0.5)))
    assert ((points - (30, 10)) * normal).sum(axis=1).min() > 9


def test_reach_is_the_farthest_corner_in_a_direction() -> None:
    assert outline.reach(WEDGE, np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0]])) == pytest.approx([100, 60, 30])


def test_a_convex_hull_runs_anticlockwise_and_drops_dents() -> None:
    dented = np.vstack([RECTANGLE[:2], [[30.0, 8.0]], RECTANGLE[2:]])
    hull = outline.convex(dented[::-1])
    assert outline.moments(hull)[0] == pytest.approx(1200)


def test_a_bow_with_curved_flanks_ends_where_the_curves_meet() -> None:
    """Straight tangents would overshoot this bow by half a millimetre."""
    u = np.linspace(0, 1, 400)
    right = np.column_stack([150 * u, -45 * (1 - u**2)])
    whole = np.vstack([[[-120.0, -40.0]], right, (right * (1, -1))[::-1], [[-120.0, 40.0]]])
    points, is_corner = outline.laid_out(whole, 60, blunt_mm=5)
    assert points[~is_corner, 0].max() < 147
    assert outline.sharpened(points, is_corner, blur_mm=1)[:, 0].max() == pytest.approx(150, abs=0.05)


@pytest.mark.parametrize("radius", [0.0, 4.0, 8.0])
def test_corners_are_drawn_as_round_as_a_blurred_picture_of_them_shows(radius: float) -> None:
    """The picture is SciPy's own Gaussian blur of a finely drawn box with round corners; its half-light is read."""
    step, blur, half = 0.1, 1.3, np.array([30.0, 18.0])
    x, y = (np.arange(-size - 8, size + 8, step) for size in half)
    away = np.maximum(np.abs(np.stack(np.meshgrid(x, y), axis=-1)) - (half - radius), 0)
    picture = gaussian_filter((np.hypot(*np.moveaxis(away, 2, 0)) <= max(radius, 1e-6)).astype(float), blur / step)
    box = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    points, is_corner = outline.laid_out(box, 60, blunt_mm=8)
    for k in np.flatnonzero(is_corner):
        way = np.sign(points[k]) / np.sqrt(2)
        depth = np.arange(-6, 12, 0.05)
        along = points[k] - depth[:, None] * way
        light = map_coordinates(picture, ((along - (x[0], y[0])) / step).T[::-1], order=1)
        edges = np.arange(-1, 8, 0.02)
        misfit = ((ndtr((depth[:, None] - edges) / blur) - light[:, None]) ** 2).sum(axis=0)
        points[k] -= edges[misfit.argmin()] * way
    whole = outline.sharpened(points, is_corner, blur_mm=blur)
    turned = np.radians(np.arange(0, 91, 5))
    ways = np.column_stack([np.cos(turned), np.sin(turned)])
    assert outline.reach(whole, ways) == pytest.approx(ways @ (half - radius) + radius, abs=0.25)
