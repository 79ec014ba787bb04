"""Boards are found where they are, or it is said why not."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from calibration.board import CharucoBoard, Chessboard
from calibration.lens import Lens
from calibration.waterplane import rotation_matrix

LENS = Lens(640, 480, 533.0, 534.5, 325.0, 236.0, -0.28, 0.09, 0.001, -0.0005)
CHESS = Chessboard(10, 7, 30.0)
CODED = CharucoBoard(8, 6, 36.0, 26.0)
Paint = Callable[..., np.ndarray]


def true_pixels(points_mm: np.ndarray, turn: tuple[float, ...], shift: tuple[float, ...]) -> np.ndarray:
    return LENS.pixels(points_mm @ rotation_matrix(turn).T + np.array(shift))


@pytest.mark.parametrize("board", [CHESS, CODED])
@pytest.mark.parametrize(
    ("turn", "shift"),
    [
        ((0.0, 0.0, 0.1), (-120.0, -80.0, 400.0)),
        ((0.5, 0.1, 0.0), (-100, -70, 420)),
        ((-0.2, 0.5, 1.2), (60, -120, 500)),
    ],
)
def test_corners_are_found_to_a_twentieth_of_a_pixel(board: Chessboard, paint: Paint, turn, shift) -> None:
    seen = board.find(paint(LENS, board, turn, shift))
    assert seen
    off = np.linalg.norm(seen.pixels - true_pixels(seen.points_mm, turn, shift), axis=1)
    if np.median(off) > 30:  # a plain board has no top: it may be read from its other end
        turned = CHESS.square_mm * np.array([8, 5, 0]) - seen.points_mm
        off = np.linalg.norm(seen.pixels - true_pixels(turned, turn, shift), axis=1)
    assert np.sqrt(np.mean(off**2) / 2) < 0.05
    assert (seen.width_px, seen.height_px) == (640, 480)


@pytest.mark.parametrize("distance_mm", [500.0, 900.0, 1300.0])
def test_far_boards_are_as_exact_because_the_window_stays_inside_the_square(paint: Paint, distance_mm: float) -> None:
    turn, shift = (0.3, 0.2, 0.05), (-130.0, -80.0, distance_mm)
    seen = CHESS.find(paint(LENS, CHESS, turn, shift))
    assert seen
    off = seen.pixels - true_pixels(seen.points_mm, turn, shift)
    assert np.sqrt(np.mean(off**2)) < 0.08


@pytest.mark.parametrize(
    ("turn", "shift"), [((0.95, 0.5, 0.0), (-120.0, -60.0, 560.0)), ((0.3, -0.9, 0.4), (-60.0, -100.0, 650.0))]
)
def test_a_steep_board_is_as_exact_too(paint: Paint, turn, shift) -> None:
    """Where a window of more than half the nearest distance reaches the next corner and is 0.6 px off."""
    seen = CHESS.find(paint(LENS, CHESS, turn, shift))
    assert seen
    other_end = CHESS.square_mm * np.array([8, 5, 0]) - seen.points_mm
    off = [seen.pixels - true_pixels(points, turn, shift) for points in (seen.points_mm, other_end)]
    assert min(np.sqrt(np.mean(o**2)) for o in off) < 0.08


def test_a_coded_board_is_found_in_part(paint: Paint) -> None:
    picture = paint(LENS, CODED, (0.1, 0.2, 0.0), (-20.0, -60.0, 320.0))
    seen = CODED.find(picture)
    assert seen
    assert 8 <= len(seen.pixels) < 35
    off = np.linalg.norm(seen.pixels - true_pixels(seen.points_mm, (0.1, 0.2, 0.0), (-20.0, -60.0, 320.0)), axis=1)
    assert np.median(off) < 0.08


def test_colour_pictures_do_as_well(paint: Paint) -> None:
    grey = paint(LENS, CHESS, (0.1, 0.0, 0.0), (-120.0, -80.0, 400.0))
    colour = np.dstack([grey, grey, grey])
    np.testing.assert_allclose(CHESS.find(colour).pixels, CHESS.find(grey).pixels, atol=0.02)


@pytest.mark.parametrize("board", [CHESS, CODED])
def test_a_drawn_board_is_found_in_its_own_drawing(board: Chessboard) -> None:
    seen = board.find(board.drawn(square_px=40))
    assert seen
    assert len(seen.pixels) == (board.columns - 1) * (board.rows - 1)
    apart = np.diff(seen.pixels.reshape(board.rows - 1, board.columns - 1, 2), axis=1)
    np.testing.assert_allclose(apart, np.broadcast_to([40.0, 0.0], apart.shape), atol=0.1)


def test_no_board_says_what_is_wanted() -> None:
    empty = np.full((480, 640), 128, np.uint8)
    missed = CHESS.find(empty)
    assert not missed
    assert "no chessboard of 10 x 7 squares; the whole board must be in the picture" in missed.reason
    assert "0 corners of the coded board; at least 8 are wanted" in CODED.find(empty).reason


def test_another_board_is_not_taken_for_ours(paint: Paint) -> None:
    assert not CHESS.find(paint(LENS, Chessboard(8, 6, 30.0), (0.1, 0.0, 0.0), (-100.0, -60.0, 400.0)))


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: Chessboard(3, 7, 30.0), "at least 4 x 4"),
        (lambda: Chessboard(10, 7, 0.0), "measure the printed board"),
        (lambda: CharucoBoard(8, 6, 30.0, 30.0), "less than square_mm is wanted"),
    ],
)
def test_a_board_that_cannot_be_is_refused(make: Callable[[], object], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        make()
