"""Exact pixel coverage: areas and centroids of what is drawn are those of the polygon.

A partly covered pixel counts at its centre, so even exact shares give a centroid off by up to some 0.01 px.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.measure import regionprops

from logger.simulator.coverage import coverage
from logger.simulator.hull import area_and_centroid, outline

TURNED = st.tuples(st.floats(0, 6.3), st.floats(-3, 3), st.floats(-3, 3))


def test_a_square_a_quarter_over_each_pixel_is_seen_as_quarters() -> None:
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    seen = coverage(square, left_px=-1, top_px=-1, width_px=4, height_px=4)
    wanted = np.zeros((4, 4))
    wanted[1:3, 1:3] = 0.25
    np.testing.assert_allclose(seen, wanted, atol=1e-7)


@given(turned=TURNED, shape=st.sampled_from(["pointed", "tray", "round"]))
def test_area_and_centroid_of_the_pixels_are_those_of_the_polygon(
    turned: tuple[float, float, float], shape: str
) -> None:
    angle, x, y = turned
    c, s = np.cos(angle), np.sin(angle)
    polygon = outline(shape, length_mm=60, width_mm=28) @ np.array([[c, s], [-s, c]]) + (40 + x, 40 + y)  # type: ignore[arg-type]
    seen = coverage(polygon, left_px=0, top_px=0, width_px=80, height_px=80).astype(np.float64)
    area, centroid = area_and_centroid(polygon)
    rows, columns = np.mgrid[0:80, 0:80]
    assert seen.sum() == pytest.approx(area, rel=1e-6)
    np.testing.assert_allclose([(seen * columns).sum() / area, (seen * rows).sum() / area], centroid, atol=0.02)


def test_scikit_image_finds_the_same_centroid() -> None:
    polygon = outline("pointed", length_mm=60, width_mm=28) + np.array([41.3, 38.7])
    seen = coverage(polygon, left_px=0, top_px=0, width_px=80, height_px=80)
    region = regionprops((seen > 0).astype(int), intensity_image=seen)[0]
    np.testing.assert_allclose(region.centroid_weighted[::-1], (41.3, 38.7), atol=0.005)


@given(left=st.integers(-30, 60), top=st.integers(-30, 60), size=st.integers(1, 70))
def test_a_window_that_cuts_the_polygon_shows_the_same_pixels(left: int, top: int, size: int) -> None:
    polygon = outline("pointed", length_mm=60, width_mm=28) + np.array([41.3, 38.7])
    whole = coverage(polygon, left_px=-40, top_px=-40, width_px=180, height_px=180)
    part = coverage(polygon, left_px=left, top_px=top, width_px=size, height_px=size)
    np.testing.assert_allclose(part, whole[top + 40 : top + 40 + size, left + 40 : left + 40 + size], atol=1e-6)
