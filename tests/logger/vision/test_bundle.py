from __future__ import annotations

import numpy as np
import pytest

from logger.vision.plane import Plane
from tests.logger.vision.painted import camera
from tests.logger.vision.test_hull import hull


@pytest.mark.parametrize("k1", [0.0, -0.05, -0.3])
def test_the_parabola_is_where_the_camera_sees_the_points_to_a_thousandth_of_a_pixel(k1: float) -> None:
    """Against every point projected by itself, far from the middle of a strongly distorting lens."""
    boat, plane = hull(), Plane(camera(k1=k1, tilt_rad=0.14), 25.0)
    places, headings = np.array([[600.0, 0.0], [1200.0, 350.0], [-100.0, -300.0]]), np.array([0.0, 1.1, -2.5])
    bundle = boat.bundle()
    u, v = bundle.pixels(plane, places, headings)
    whole = plane.pixels(boat.positions(places, headings))
    assert np.abs(u - whole[..., 0]).max() < 1e-3
    assert np.abs(v - whole[..., 1]).max() < 1e-3
