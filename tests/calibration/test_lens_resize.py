"""A lens at another size sees the same directions, or it is said that this cannot be known."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.lens_resize import cut_words, resized
from tests.calibration.board_views import USUAL

COVARIANCE = np.diag([1.0, 1.0, 2.0, 2.0, 1e-3, 1e-3, 1e-4, 1e-4, 0.0]) ** 2


def test_a_shrunk_picture_shows_the_same_directions() -> None:
    """Pixel centres are on whole numbers, so the middle of a 2 x 2 block at (0.5, 0.5) becomes (0, 0)."""
    half, covariance, (said,) = resized(USUAL, COVARIANCE, width_px=640, height_px=360, place="here")
    pixels = np.array([[0.5, 0.5], [640.5, 360.5], [1278.5, 100.5]])
    np.testing.assert_allclose(half.rays((pixels - 0.5) / 2), USUAL.rays(pixels), atol=1e-9)
    np.testing.assert_allclose(np.sqrt(np.diag(covariance))[:5], [0.5, 0.5, 1.0, 1.0, 1e-3])
    assert "right only if the stream shows the whole" in said


def test_another_shape_is_refused() -> None:
    with pytest.raises(
        CalibrationError, match=r"here: found photos of 1280 x 720 for a stream of 640 x 480, .*16:9 and 4:3"
    ):
        resized(USUAL, COVARIANCE, width_px=640, height_px=480, place="here")


def test_a_twelve_megapixel_photo_says_nothing_of_a_720p_stream() -> None:
    assert "where cannot be told from photos" in cut_words((4000, 3000), (1280, 720))
    assert "say --for-size 1280x720" in cut_words((3840, 2160), (1280, 720))
