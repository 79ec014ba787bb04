"""Refraction against a table of exact values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.simulator import snell

# Camera 1.2 m above the water, mark 0.1 m deep, n = 1.33299: distance in mm -> inward shift in mm. Solved from Snell's
# law and confirmed by Fermat's principle (least optical path) to 1e-15 by a separate program.
INWARD_MM = {50: 2.941, 100: 5.876, 200: 11.708, 300: 17.453, 400: 23.072, 500: 28.528, 600: 33.791}


@pytest.mark.parametrize(("distance_mm", "inward_mm"), INWARD_MM.items())
def test_a_mark_on_the_floor_is_seen_nearer_by_the_published_amount(distance_mm: float, inward_mm: float) -> None:
    seen = snell.surface_above([[distance_mm, 0.0]], eye_mm=np.array([0, 0, 1200.0]), depth_mm=100.0)
    assert distance_mm - seen[0, 0] == pytest.approx(inward_mm, abs=6e-4)


@given(
    x=st.floats(-1500, 1500), y=st.floats(-600, 600), height=st.floats(500, 2500), depth=st.floats(5, 200)
)  # fmt: skip
def test_down_through_the_water_and_up_again_is_the_same_place(x: float, y: float, height: float, depth: float) -> None:
    eye = np.array([130.0, -20.0, height])
    floor = snell.floor_under([[x, y]], eye_mm=eye, depth_mm=depth)
    np.testing.assert_allclose(snell.surface_above(floor, eye_mm=eye, depth_mm=depth), [[x, y]], atol=1e-7)


def test_light_takes_the_quickest_way() -> None:
    """Fermat: the optical path over the surface point is least there."""
    height, depth, r = 1200.0, 100.0, 600.0
    x = snell.surface_above([[r, 0.0]], eye_mm=np.array([0, 0, height]), depth_mm=depth)[0, 0]

    def optical_path(at: float) -> float:
        return float(np.hypot(at, height) + snell.INDEX * np.hypot(r - at, depth))

    assert optical_path(x) < min(optical_path(x - 0.01), optical_path(x + 0.01))
