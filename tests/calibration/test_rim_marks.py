"""Marks on the rim are found where they are, their middle too, from the side as well."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration import tags
from calibration.rim_marks import find_rim_marks

FINE = 4


def painted(numbers: list[int], corners_px: list[np.ndarray], family: int = tags.RIM_FAMILY) -> np.ndarray:
    """A grey picture 640 x 480; each square with its white border laid at the four corners of its black."""
    fine = np.full((480 * FINE, 640 * FINE), 130, np.uint8)
    for number, corners in zip(numbers, corners_px, strict=True):
        black = tags.cells(number, family)
        cells = np.kron(np.where(np.pad(black, 1), 20, 220).astype(np.uint8), np.ones((24, 24), np.uint8))
        side = 24 * len(black)
        inner = np.array([[24, 24], [24 + side, 24], [24 + side, 24 + side], [24, 24 + side]], np.float32) - 0.5
        onto = np.asarray((corners + 0.5) * FINE - 0.5, np.float32)
        place = cv2.getPerspectiveTransform(inner, onto)
        size = (fine.shape[1], fine.shape[0])
        laid = cv2.warpPerspective(cells, place, size, flags=cv2.INTER_LINEAR)
        there = cv2.warpPerspective(np.full_like(cells, 255), place, size, flags=cv2.INTER_NEAREST)
        fine[there > 0] = laid[there > 0]
    seen = fine.reshape(480, FINE, 640, FINE).mean((1, 3))
    noise = np.random.default_rng(5).normal(0, 1.5, seen.shape)
    return np.clip(cv2.GaussianBlur(seen, (0, 0), 0.6) + noise, 0, 255).round().astype(np.uint8)


STEEP = np.array([[120.3, 90.1], [172.8, 99.7], [170.2, 160.4], [112.9, 147.0]])
SMALL = np.array([[400.2, 300.7], [432.1, 302.2], [430.6, 334.0], [398.8, 332.5]])


def test_corners_are_found_to_half_a_pixel_and_the_middle_to_a_tenth() -> None:
    found = find_rim_marks(painted([3, 5], [STEEP, SMALL]))
    assert sorted(found) == [3, 5]
    for number, corners in ((3, STEEP), (5, SMALL)):
        assert np.abs(found[number].corners_px - corners).max() < 0.5
        onto = cv2.getPerspectiveTransform(
            np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32), corners.astype(np.float32)
        )
        middle = cv2.perspectiveTransform(np.array([[[0.5, 0.5]]]), onto).ravel()
        assert np.abs(found[number].middle_px - middle).max() < 0.1
    assert found[5].side_px == pytest.approx(31.9, abs=1.0)


def test_the_mean_of_the_corners_is_not_the_middle_of_a_mark_seen_from_the_side() -> None:
    mark = find_rim_marks(painted([3], [STEEP]))[3]
    assert np.linalg.norm(mark.middle_px - mark.corners_px.mean(0)) > 0.5


def test_colour_pictures_do_as_well() -> None:
    seen = painted([3], [STEEP])
    assert sorted(find_rim_marks(np.dstack([seen, seen, seen]))) == [3]


def test_a_number_that_is_there_twice_is_left_out() -> None:
    assert sorted(find_rim_marks(painted([3, 3, 4], [STEEP, SMALL, np.add(STEEP, (200, 20))]))) == [4]


def test_boats_tags_are_no_marks_of_the_rim() -> None:
    assert find_rim_marks(painted([3, 5], [STEEP, SMALL], family=tags.FAMILY)) == {}
