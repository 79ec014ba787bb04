from __future__ import annotations

import numpy as np
import pytest

from logger.vision.outline import normals
from logger.vision.shadow import Distance, Shadow

ANGLES = np.linspace(0, 2 * np.pi, 72, endpoint=False)
CIRCLE = 50 * np.column_stack([np.cos(ANGLES), np.sin(ANGLES)])
DISTANCE = Distance(CIRCLE, normals(CIRCLE, np.zeros(72, bool)))


def test_the_distance_from_a_circle_is_the_radius_less_its_own() -> None:
    points = np.array([[[0.0, 0.0], [50.0, 0.0], [0.0, 70.0], [-60.0, 60.0]]])
    expected = np.hypot(*points[0].T) - 50
    assert DISTANCE.at(points[..., 0], points[..., 1])[0] == pytest.approx(expected, abs=0.6)


def test_half_the_darkness_falls_on_the_edge_of_the_moved_outline() -> None:
    shadow = Shadow(np.array([30.0, 0.0]), 0.0, 0.3, 4.0)
    centre = shadow.moved(np.zeros((1, 2)), np.zeros(1), np.zeros(2))
    points = np.array([[80.0, 0.0], [30.0, 0.0], [-60.0, 0.0]])
    assert shadow.share(DISTANCE, points, centre)[0] == pytest.approx([0.5, 1, 0], abs=0.06)


def test_away_from_the_foot_point_the_shadow_slides_toward_it() -> None:
    """A thing on the floor at apparent depth d seems nearer to the foot point by d/(H+d): 75 mm under 1425 mm, 5 %."""
    shadow = Shadow(np.zeros(2), 75 / 1500, 0.3, 4.0)
    moved = shadow.moved(np.array([[600.0, 0.0], [0.0, 600.0]]), np.zeros(2), np.zeros(2))
    assert moved == pytest.approx(np.array([[-30.0, 0.0], [0.0, -30.0]]))


def test_in_the_boats_frame_the_shadow_turns_against_the_heading() -> None:
    shadow = Shadow(np.array([20.0, 0.0]), 0.0, 0.3, 4.0)
    assert shadow.moved(np.zeros((1, 2)), np.array([np.pi / 2]), np.zeros(2)) == pytest.approx(np.array([[0.0, -20.0]]))
