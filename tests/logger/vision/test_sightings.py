from __future__ import annotations

import cv2
import numpy as np
import pytest

from logger.vision import sightings

EMPTY = np.full((60, 120), 150.0, np.float32)


def stack(*, flash: bool) -> np.ndarray:
    """A pale boat that crosses; in some pictures a far darker thing lies elsewhere."""
    pictures = np.full((12, 60, 120), 150, np.uint8)
    for k in range(12):
        pictures[k, 26:34, 5 + 8 * k : 17 + 8 * k] = 165
        if flash and k in (4, 7):
            pictures[k, 2:10, 100:112] = 20
    return pictures


@pytest.mark.parametrize("flash", [False, True])
def test_the_path_follows_the_boat_and_not_what_is_merely_stronger(flash: bool) -> None:
    apart, noise = sightings.differences(stack(flash=flash), EMPTY)
    found = sightings.find(apart, noise=noise, size_px=9)
    assert all(seen is not None for seen in found)
    u = np.array([seen.u for seen in found if seen is not None])
    assert np.abs(u - (10.5 + 8 * np.arange(12))).max() <= 3


def test_nothing_is_found_in_an_empty_film_or_outside_the_tank() -> None:
    still = np.full((5, 60, 120), 150, np.uint8)
    apart, noise = sightings.differences(still, EMPTY)
    assert sightings.find(apart, noise=noise, size_px=9) == [None] * 5
    apart, noise = sightings.differences(stack(flash=False), EMPTY)
    assert sightings.find(apart, noise=noise, size_px=9, tank=np.zeros((60, 120), bool)) == [None] * 12


def test_the_size_of_an_unknown_thing_is_the_root_of_its_area() -> None:
    apart, noise = sightings.differences(stack(flash=False), EMPTY)
    assert sightings.size_of_largest(apart, noise) == pytest.approx(np.sqrt(8 * 12))


def test_a_path_passes_over_a_picture_in_which_only_something_far_away_is_seen() -> None:
    rows = [[sightings.Sighting(10.0 * k, 5.0, 1.0)] for k in range(6)]
    rows[3] = [sightings.Sighting(900.0, 700.0, 1.0)]
    rows[4] = []
    found = sightings.path(rows, size_px=10)
    assert found == [*(row[0] for row in rows[:3]), None, None, rows[5][0]]


def test_a_shrunk_picture_is_the_mean_of_its_squares() -> None:
    picture = np.random.default_rng(0).integers(0, 256, (40, 64)).astype(np.uint8)
    means = picture.reshape(10, 4, 16, 4).mean(axis=(1, 3))
    assert np.abs(sightings.shrunk(picture) - means).max() <= 1


@pytest.mark.parametrize("size_px", [3, 4, 5, 6, 8, 11, 16, 25])
def test_candidates_are_as_strong_as_gauss_blurs_make_them(size_px: int) -> None:
    """Reference: OpenCV's GaussianBlur."""
    apart = np.zeros((120, 160), np.float32)
    cv2.circle(apart, (70, 62), round(size_px / np.sqrt(np.pi)), 40.0, -1)
    evidence = np.log1p(np.maximum(apart - 3, 0))
    near, far = (
        cv2.GaussianBlur(evidence, (0, 0), share * size_px, borderType=cv2.BORDER_CONSTANT) for share in (0.45, 1.1)
    )
    score = near - 0.8 * far
    first = sightings.candidates(apart, noise=1.0, size_px=size_px, tank=None)[0]
    assert (first.u, first.v) == pytest.approx((70, 62), abs=1)
    assert first.strength == pytest.approx(score.max(), rel=0.05)


@pytest.mark.parametrize("middle", [4, 6, 8, 10, 14])
@pytest.mark.parametrize("size_px", [10, 12, 14])
def test_a_boat_near_the_edge_of_the_picture_is_not_drawn_to_the_edge(middle: int, size_px: float) -> None:
    picture = np.full((60, 120), 150, np.uint8)
    cv2.rectangle(picture, (50, middle - 4), (64, middle + 4), 190, -1)
    apart, _ = sightings.differences(picture[None], EMPTY)
    first = sightings.candidates(apart[0], noise=1.0, size_px=size_px, tank=None)[0]
    assert (first.u, first.v) == pytest.approx((57, middle), abs=2)
