"""Pictures of printed boards, painted through a known lens."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import cv2
import numpy as np
import pytest
from scipy.interpolate import RectBivariateSpline

from calibration.board import CharucoBoard, Chessboard
from calibration.lens import Lens
from calibration.waterplane import rotation_matrix

Board = Chessboard | CharucoBoard
FINE = 4
SQUARE_PX = 80


@lru_cache(maxsize=2)
def rays(lens: Lens) -> np.ndarray:
    """(H, W, 2) of each pixel, from a ray in every 16th and cubic splines: right to a thousandth of a pixel."""
    columns, rows = (np.arange(size, dtype=np.float64) for size in (lens.width_px, lens.height_px))
    coarse = [np.linspace(0, each[-1], len(each) // 16 + 1) for each in (rows, columns)]
    v, u = np.meshgrid(*coarse, indexing="ij")
    known = lens.rays(np.column_stack([u.ravel(), v.ravel()])).reshape(*u.shape, 3)
    return np.stack([RectBivariateSpline(*coarse, known[..., axis])(rows, columns) for axis in range(2)], -1)


def painted(
    lens: Lens, board: Board, turn_rad: tuple[float, float, float], shift_mm: tuple[float, float, float]
) -> np.ndarray:
    """A grey picture (H, W) of the board, each pixel the mean of 16 rays, with a little blur and noise.

    The board's frame is that of its corners (first inner corner 0, x along the rows); it is turned, then shifted.
    """
    texture = board.drawn(square_px=SQUARE_PX)
    margin_squares = 2.0 if isinstance(board, Chessboard) else 1.5
    fine = cv2.resize(rays(lens), None, fx=FINE, fy=FINE, interpolation=cv2.INTER_LINEAR)
    rotation, shift = rotation_matrix(turn_rad), np.array(shift_mm)
    towards = np.dstack([fine, np.ones(fine.shape[:2])]) @ rotation
    start = -rotation.T @ shift
    on_board = start[:2] - start[2] * towards[..., :2] / towards[..., 2:]
    place = ((on_board / board.square_mm + margin_squares) * SQUARE_PX - 0.5).astype(np.float32)
    seen = cv2.remap(texture, place[..., 0], place[..., 1], cv2.INTER_LINEAR, borderValue=120).astype(np.float64)
    seen = seen.reshape(lens.height_px, FINE, lens.width_px, FINE).mean((1, 3))
    noise = np.random.default_rng(int(1e6 * abs(sum(turn_rad)))).normal(0, 1.5, seen.shape)
    return np.clip(cv2.GaussianBlur(30 + 0.75 * seen, (0, 0), 0.6) + noise, 0, 255).round().astype(np.uint8)


@pytest.fixture(scope="session")
def paint() -> Callable[..., np.ndarray]:
    """The painter of board pictures."""
    return painted
