"""Fields of black and white cells as boxes on paper: tags and coded boards."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from calibration import tags
from calibration.board import MARKS, CharucoBoard
from logger.study.paper import Box


def black_boxes(black: NDArray[np.bool_], box_mm: Box) -> Iterator[Box]:
    """Runs of black cells, row by row, of a field (rows, columns; row 0 is the upper) that fills `box_mm`."""
    left_mm, lower_mm, width_mm, height_mm = box_mm
    rows, columns = black.shape
    across_mm, upright_mm = width_mm / columns, height_mm / rows
    for row, line in enumerate(black):
        begins = 0
        for column in range(columns + 1):
            if column < columns and line[column]:
                continue
            if column > begins:
                y_mm = lower_mm + (rows - 1 - row) * upright_mm
                yield left_mm + begins * across_mm, y_mm, (column - begins) * across_mm, upright_mm
            begins = column + 1


def board_boxes(board: CharucoBoard, *, left_mm: float, lower_mm: float) -> Iterator[Box]:
    """All that is black of a coded board whose lower left corner is there: squares, then marks, row by row.

    The upper left square is black, and the marks are counted row by row from there, as OpenCV lays them out.
    """
    square_mm, within_mm = board.square_mm, (board.square_mm - board.mark_mm) / 2
    numbers = iter(board.numbers or range(board.columns * board.rows // 2))
    for row in range(board.rows):
        y_mm = lower_mm + (board.rows - 1 - row) * square_mm
        for column in range(board.columns):
            x_mm = left_mm + column * square_mm
            if (row + column) % 2 == 0:
                yield x_mm, y_mm, square_mm, square_mm
            else:
                mark_mm = (x_mm + within_mm, y_mm + within_mm, board.mark_mm, board.mark_mm)
                yield from black_boxes(tags.cells(next(numbers), MARKS), mark_mm)
