from __future__ import annotations

import numpy as np
import pytest

from calibration.board import CharucoBoard
from calibration.targets import LENS_BOARD, PLANE_BOARD
from logger.study.cells import black_boxes, board_boxes
from logger.study.paper import Box


def filled(boxes: list[Box], *, wide_mm: float, high_mm: float, px_per_mm: float) -> np.ndarray:
    """Black boxes as a picture, row 0 the upper."""
    high = round(high_mm * px_per_mm)
    page = np.full((high, round(wide_mm * px_per_mm)), 255, np.uint8)
    for x, y, w, h in boxes:
        left, lower = round(x * px_per_mm), high - round(y * px_per_mm)
        page[lower - round(h * px_per_mm) : lower, left : left + round(w * px_per_mm)] = 0
    return page


def test_cells_that_touch_in_a_row_are_one_box() -> None:
    black = np.array([[True, True, False], [False, False, True]])
    assert list(black_boxes(black, (10.0, 20.0, 3.0, 2.0))) == [(10.0, 21.0, 2.0, 1.0), (12.0, 20.0, 1.0, 1.0)]


@pytest.mark.parametrize("board", [LENS_BOARD, PLANE_BOARD, CharucoBoard(6, 5, 24.0, 18.0)])
def test_a_board_is_drawn_as_opencv_draws_it(board: CharucoBoard) -> None:
    """cv2.aruco.CharucoBoard.generateImage; a fraction of a pixel apart at the edges of marks."""
    wide_mm, high_mm = board.columns * board.square_mm, board.rows * board.square_mm
    boxes = list(board_boxes(board, left_mm=0.0, lower_mm=0.0))
    ours = filled(boxes, wide_mm=wide_mm, high_mm=high_mm, px_per_mm=5.0)
    square_px = round(board.square_mm * 5)
    drawn = board.drawn(square_px=square_px)
    theirs = drawn[square_px // 2 :, square_px // 2 :][: ours.shape[0], : ours.shape[1]]
    assert np.mean((ours < 128) != (theirs < 128)) < 0.02
