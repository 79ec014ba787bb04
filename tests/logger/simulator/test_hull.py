"""Hull shapes and their moments."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.simulator.hull import Hull, area_and_centroid, outline

SHAPES = ("pointed", "tray", "round")


@pytest.mark.parametrize("shape", SHAPES)
def test_opencv_finds_the_same_area_and_centroid(shape: str) -> None:
    polygon = outline(shape, length_mm=200, width_mm=80) + np.array([31.0, -7.0])  # type: ignore[arg-type]
    area, centroid = area_and_centroid(polygon)
    moments = cv2.moments(polygon.astype(np.float32))
    assert area == pytest.approx(moments["m00"], rel=1e-5)
    np.testing.assert_allclose(centroid, [moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]], atol=1e-3)


def test_an_ellipse_has_the_area_of_its_polygon() -> None:
    """An ellipse inscribed by a polygon of 96 corners loses a share of about (2·pi/96)²/6."""
    area, _ = area_and_centroid(outline("round", length_mm=100, width_mm=100))
    assert area == pytest.approx(np.pi * 50**2, rel=1e-3)


@given(
    shape=st.sampled_from(SHAPES), length=st.floats(80, 350), width=st.floats(60, 200),
    stern=st.floats(0.6, 1.0), fullness=st.floats(1.2, 3.0),
)  # fmt: skip
def test_outlines_are_convex_centred_and_of_the_asked_size(
    shape: str, length: float, width: float, stern: float, fullness: float
) -> None:
    polygon = outline(shape, length_mm=length, width_mm=width, stern=stern, fullness=fullness)  # type: ignore[arg-type]
    np.testing.assert_allclose(np.ptp(polygon, axis=0), (length, width), rtol=1e-9)
    np.testing.assert_allclose(area_and_centroid(polygon)[1], 0.0, atol=1e-9)
    side = np.roll(polygon, -1, axis=0) - polygon
    after = np.roll(side, -1, axis=0)
    assert (side[:, 0] * after[:, 1] - side[:, 1] * after[:, 0] > -1e-9).all()


@given(angle=st.floats(-4, 4))
def test_the_foremost_point_reaches_as_far_as_the_outline(angle: float) -> None:
    hull = Hull(outline("pointed", length_mm=200, width_mm=80), 1.0, 20.0, 10.0)
    point, reach = hull.foremost_mm(np.array([angle]))[0], hull.support_mm(np.array([angle]))[0]
    assert point @ [np.cos(angle), np.sin(angle)] == pytest.approx(reach)
