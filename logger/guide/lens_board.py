"""The board that the lens is measured with, at its true size."""

from __future__ import annotations

from dataclasses import replace

from calibration.board import Board, Chessboard
from calibration.lens_scale import true_square_mm
from calibration.targets import LENS_BOARD
from logger.errors import InputError


def board_of(
    *, square_mm: float | None, ruler_mm: float | None, chessboard: tuple[int, int] | None = None, place: str
) -> tuple[Board, tuple[str, ...]]:
    """The board, and what is to be known of its size.

    Args:
        square_mm: Side of a square as printed; None: as our own board has it.
        ruler_mm: The bar at the board's foot by a ruler; None: nobody has measured it.
        chessboard: Squares across and up of a plain chessboard instead of ours; needs `square_mm`.
        place: For errors.

    Raises:
        CalibrationError: the bar cannot be that long.
        InputError: a chessboard without the side of its squares.
    """
    if chessboard is not None and square_mm is None:
        raise InputError(f"{place}: a chessboard needs the side of its squares; measure several together")
    true_mm, notes = true_square_mm(square_mm or LENS_BOARD.square_mm, ruler_mm, place=place)
    if chessboard is not None:
        return Chessboard(*chessboard, true_mm), (notes if ruler_mm is not None else ())
    return replace(LENS_BOARD, square_mm=true_mm, mark_mm=LENS_BOARD.mark_mm * true_mm / LENS_BOARD.square_mm), notes
