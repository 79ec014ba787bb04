from __future__ import annotations

import numpy as np
import pytest

from logger.vision.plane import Plane, sample
from tests.logger.vision.painted import camera

VIEW = camera()


def test_points_of_the_plane_come_back_from_their_pixels() -> None:
    plane = Plane(VIEW, 25.0)
    points = np.array([[0.0, 0.0], [900.0, 250.0], [300.0, -350.0]])
    assert plane.points(plane.pixels(points)) == pytest.approx(points, abs=1e-6)


def test_what_is_lower_than_thought_lies_nearer_to_the_foot_point() -> None:
    """Similar triangles: seen at r on a plane h up, it is at r·H/(H−h)... here from 20 mm down to the water."""
    plane = Plane(VIEW, 20.0)
    seen = plane.foot_mm + np.array([[500.0, 0.0]])
    on_water = plane.lowered(seen, 0.0)
    assert on_water[0] - plane.foot_mm == pytest.approx([500 * 1400 / 1380, 0])
    through = VIEW.to_plane(plane.pixels(seen), z_mm=0.0)
    assert on_water == pytest.approx(through, abs=1e-6)


def test_a_pixel_is_about_height_over_focal_length() -> None:
    assert Plane(VIEW, 0.0).step_mm(np.array([600.0, 0.0])) == pytest.approx(1400 / 900, rel=0.01)


def test_samples_are_light_between_pixels_and_unknown_outside() -> None:
    picture = np.tile(np.array([0.0, 100.0, 200.0], np.float32), (3, 1))
    found = sample(picture, np.array([[0.25, 1.0, 7.0]]), np.array([[0.5, 1.0, 7.0]]))
    assert found[0, :2] == pytest.approx([25, 100], abs=1)
    assert np.isnan(found[0, 2])
    far = np.array([[-50.0, -40.0]])
    for kind in (np.float32, np.uint8):
        assert np.isnan(sample(picture.astype(kind), far, far)).all()
        assert np.isnan(sample(picture.astype(kind), far + 900, far + 900)).all()
