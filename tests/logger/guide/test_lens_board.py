from __future__ import annotations

import pytest

from calibration.board import CharucoBoard, Chessboard
from calibration.targets import LENS_BOARD
from logger.errors import InputError
from logger.guide.lens_board import board_of


def test_the_bar_tells_how_large_the_squares_really_are() -> None:
    board, notes = board_of(square_mm=None, ruler_mm=97.0, place="here")
    assert isinstance(board, CharucoBoard)
    assert board.square_mm == pytest.approx(0.97 * LENS_BOARD.square_mm)
    assert board.mark_mm == pytest.approx(0.97 * LENS_BOARD.mark_mm)
    assert any("97.0%" in note for note in notes)


def test_the_bar_that_nobody_measured_is_a_note_of_our_board_only() -> None:
    assert board_of(square_mm=None, ruler_mm=None, place="here")[1]
    board, notes = board_of(square_mm=25.0, ruler_mm=None, chessboard=(10, 7), place="here")
    assert (board, notes) == (Chessboard(10, 7, 25.0), ())


def test_a_chessboard_without_its_squares_is_refused() -> None:
    with pytest.raises(InputError, match="here: a chessboard needs the side of its squares"):
        board_of(square_mm=None, ruler_mm=None, chessboard=(10, 7), place="here")
