from __future__ import annotations

import numpy as np
import pytest

from calibration import tags
from logger.vision.tag.reader import Options, Reader
from tests.logger.vision.tag.print_painted import SQUARE, empty, paint, plane


@pytest.mark.parametrize("enlarged", [1, 2])
def test_number_and_corners_of_a_painted_square(enlarged: int) -> None:
    on, place, heading = plane(), np.array([500.0, 90.0]), 2.2
    signs = Reader(Options(enlarged_count=enlarged)).read(
        paint(empty(), on, SQUARE, place_mm=place, heading_rad=heading)
    )
    assert [sign.number for sign in signs] == [7]
    c, s = np.cos(heading), np.sin(heading)
    corners = on.pixels(place + tags.corners_mm(SQUARE.size_mm) @ np.array([[c, s], [-s, c]]))
    assert np.abs(signs[0].corners_px - corners).max() < 1.0
    assert np.abs((signs[0].corners_px - corners).mean(axis=0)).max() < 0.3


def test_an_empty_picture_has_no_numbers() -> None:
    assert Reader().read(empty()) == []
