"""Sharp pictures are told from blurred, overexposed and pale ones; alike ones are taken once."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.board import BoardSeen
from calibration.lens_views import SAME_SHARE, Quality, likeness, normal, quality, rough_lens, spread
from calibration.targets import LENS_BOARD
from tests.calibration.board_views import SMALL, USUAL, painted_at, placed, seen_at, shown

FACING = (np.array([0.25, 0.1, 0.05]), np.array([320.0, 180.0]), 300.0)


def picture(**how: float) -> tuple[np.ndarray, BoardSeen]:
    place = placed(SMALL, *FACING)
    assert place is not None
    seen = seen_at(SMALL, place)
    assert seen is not None
    return painted_at(SMALL, place, **how), seen  # type: ignore[arg-type]


def test_a_good_picture_has_no_trouble() -> None:
    found = quality(*picture())
    assert found.trouble == ""
    assert found.edge_px == pytest.approx(2.5, abs=0.8)
    assert found.contrast_levels == pytest.approx(165, abs=12)
    assert found.square_px == pytest.approx(37, abs=6)


@pytest.mark.parametrize("blur_px", [1.0, 2.0, 4.0])
def test_the_width_of_an_edge_is_that_of_the_blur(blur_px: float) -> None:
    """The steepest slope of an edge blurred by a Gaussian of sd s is its height over s·√(2π)."""
    assert quality(*picture(blur_px=blur_px)).edge_px == pytest.approx(blur_px * np.sqrt(2 * np.pi), rel=0.25, abs=0.4)


def test_blur_is_told() -> None:
    assert "blurred: its edges are" in quality(*picture(blur_px=4.0)).trouble


def test_motion_along_one_direction_is_blur_too() -> None:
    seen, board = picture()
    smeared = cv2.blur(seen, (15, 1))
    assert "blurred" in quality(smeared, board).trouble


def test_cut_off_white_is_told() -> None:
    assert "overexposed" in quality(*picture(white=300.0)).trouble


def test_a_picture_without_contrast_is_told() -> None:
    assert "too pale or too dark" in quality(*picture(white=60.0)).trouble


def test_large_photos_may_have_wider_edges() -> None:
    near = Quality(edge_px=9.0, square_px=150.0, clipped_share=0.0, contrast_levels=150.0)
    assert near.trouble == ""
    assert "blurred" in replace(near, square_px=40.0).trouble


def test_a_board_that_faces_the_camera_has_its_upright_towards_it() -> None:
    place = placed(USUAL, np.zeros(3), np.array([640.0, 360.0]), 400.0)
    assert place is not None
    seen = seen_at(USUAL, place)
    assert seen is not None
    np.testing.assert_allclose(normal(USUAL, seen), [0, 0, -1], atol=0.02)


def test_the_rough_lens_has_the_size_of_the_picture() -> None:
    lens = rough_lens(1280, 720)
    assert (lens.width_px, lens.height_px, lens.cx_px, lens.cy_px) == (1280, 720, 639.5, 359.5)


def test_near_duplicates_are_taken_once_and_the_sharpest_begins() -> None:
    views = shown(USUAL, np.random.default_rng(1), count=10)
    twins = {f"{name} again": replace(view, pixels=view.pixels + 3.0) for name, view in views.items()}
    sharp = {**dict.fromkeys(views, 2.5), **dict.fromkeys(twins, 2.6), "view 4": 2.0}
    taken, reasons = spread({**views, **twins}, sharp)
    assert len(taken) == 10
    assert "view 4" in taken
    assert all(reason.startswith("much the same as view") for reason in reasons.values())
    for name in views:
        assert (name in taken) != (f"{name} again" in taken)


def test_a_turn_of_ten_degrees_on_one_spot_is_another_view_and_of_one_degree_is_not() -> None:
    def tilted(rad: float) -> BoardSeen:
        place = placed(USUAL, np.array([0.3 + rad, 0.0, 0.0]), np.array([640.0, 360.0]), 400.0)
        assert place is not None
        seen = seen_at(USUAL, place)
        assert seen is not None
        return seen

    at = likeness({"a": tilted(0.0), "b": tilted(np.radians(1)), "c": tilted(np.radians(10))})
    assert np.linalg.norm(at["a"] - at["b"]) < SAME_SHARE < np.linalg.norm(at["a"] - at["c"])


def test_of_very_many_views_only_so_many_are_taken() -> None:
    views = shown(USUAL, np.random.default_rng(2), count=20)
    taken, reasons = spread(views, dict.fromkeys(views, 2.0), most_count=12)
    assert len(taken) == 12
    assert set(reasons.values()) <= {"not needed, there are enough"}
    assert len(reasons) == 8
    assert spread({}, {}) == ((), {})


def test_the_board_is_the_one_that_is_printed() -> None:
    seen, _ = picture()
    assert isinstance(LENS_BOARD.find(seen), BoardSeen)
