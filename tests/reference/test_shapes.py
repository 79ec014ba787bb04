"""Moments, axes and hulls of shapes, against scikit-image on a silhouette that scikit-image carries along.

`skimage.data.horse` is a black-and-white outline that comes inside the package; nothing is fetched. The polygon runs
along the outer edges of the pixels, so its area, centroid and second moments are the pixels' own.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import binary_fill_holes
from skimage import data, measure

from logger.vision import outline

Floats = NDArray[np.float64]


@pytest.fixture(scope="module")
def silhouette() -> NDArray[np.bool_]:
    return binary_fill_holes(~data.horse().astype(bool))


@pytest.fixture(scope="module")
def region(silhouette: NDArray[np.bool_]) -> Any:
    return max(measure.regionprops(measure.label(silhouette)), key=lambda r: r.area)


@pytest.fixture(scope="module")
def polygon(silhouette: NDArray[np.bool_]) -> Floats:
    """Along the outer edges of the pixels, (x right, y down); pixels are drawn as 9 x 9 to keep corners sharp."""
    fine = np.kron(silhouette, np.ones((9, 9)))
    ring = max(measure.find_contours(fine, 0.5), key=len)[:-1]
    return (ring[:, ::-1] - 4) / 9


def test_area_and_centroid_are_those_of_the_pixels(region: Any, polygon: Floats) -> None:
    area, centroid, _ = outline.moments(polygon)
    row, column = region.centroid
    assert abs(area) == pytest.approx(region.area, rel=0.001)
    assert centroid == pytest.approx(np.array([column, row]), abs=0.01)


def test_second_moments_are_those_of_the_pixels(region: Any, polygon: Floats) -> None:
    _, _, second = outline.moments(polygon)
    central = region.moments_central / region.area
    pixels = np.array([[central[0, 2], central[1, 1]], [central[1, 1], central[2, 0]]])
    assert second == pytest.approx(pixels, rel=0.001)


def test_the_long_axis_points_where_scikit_image_says(region: Any, polygon: Floats) -> None:
    _, _, second = outline.moments(polygon)
    angle_rad, elongation = outline.axis(second)
    # scikit-image: from the row axis, counter-clockwise, range ±π/2; ours: from x, within ±π/2
    theirs_rad = math.pi / 2 - region.orientation
    assert math.cos(2 * (angle_rad - theirs_rad)) > math.cos(math.radians(0.05))
    ratio = region.axis_major_length / region.axis_minor_length
    assert elongation == pytest.approx(ratio, rel=0.001)


def test_the_convex_hull_has_the_area_that_scikit_image_finds(region: Any, polygon: Floats) -> None:
    area, _, _ = outline.moments(outline.convex(polygon))
    assert area == pytest.approx(region.area_convex, rel=0.01)
    assert area > 0


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 90.0, 200.0])
def test_a_rectangle_has_the_moments_of_the_textbook(angle_deg: float) -> None:
    """a·b, a²/12, b²/12 about the centroid (any mechanics text), whichever way it lies."""
    a, b, place = 160.0, 60.0, np.array([700.0, -45.0])
    corners = np.array([[-a / 2, -b / 2], [a / 2, -b / 2], [a / 2, b / 2], [-a / 2, b / 2]])
    turned = outline.turned(corners, math.radians(angle_deg)) + place
    area, centroid, second = outline.moments(turned)
    assert area == pytest.approx(a * b)
    assert centroid == pytest.approx(place)
    assert np.linalg.eigvalsh(second) == pytest.approx([b * b / 12, a * a / 12])
    angle_rad, ratio = outline.axis(second)
    assert math.sin(angle_rad - math.radians(angle_deg)) == pytest.approx(0, abs=1e-9)
    assert ratio == pytest.approx(a / b)
