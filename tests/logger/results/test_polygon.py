from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.results.polygon import inside_mm

SQUARE = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])


def test_depths_that_are_seen_by_eye() -> None:
    points = np.array([[50.0, 50.0], [10.0, 50.0], [0.0, 50.0], [-20.0, 50.0], [103.0, 104.0]])
    assert inside_mm(points, SQUARE) == pytest.approx([50, 10, 0, -20, -5])


@given(
    st.lists(st.tuples(st.floats(-200, 200), st.floats(-200, 200)), min_size=3, max_size=7, unique=True),
    st.tuples(st.floats(-300, 300), st.floats(-300, 300)),
)
def test_as_the_vision_library_has_it(corners: list[tuple[float, float]], point: tuple[float, float]) -> None:
    """cv2.pointPolygonTest; it keeps corners in single precision. The shape may be any, also one that is no port."""
    shape = cv2.convexHull(np.array(corners, np.float32))[:, 0].astype(np.float64)
    if len(shape) < 3 or cv2.contourArea(shape.astype(np.float32)) < 1:
        return
    judged = cv2.pointPolygonTest(shape.astype(np.float32), point, measureDist=True)
    assert inside_mm(np.array([point]), shape)[0] == pytest.approx(judged, abs=1e-3)
