"""Flat boards with known corners: how to print them and how to find them in a picture.

A plain chessboard is found as a whole or not at all. A ChArUco board, a chessboard with a small coded mark in each
white square, is also found in part, which lets it reach the edges of the picture where a lens bends most.

Corners are refined in a window that must not reach the next corner: its half-width is a quarter of the nearest
distance between two corners of that very picture. (A fixed window of 11 px, which reaches over in far views, was seen
to make a focal length 0.6 % too long.)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens import Floats

Picture: TypeAlias = NDArray[np.uint8]

_WINDOW_SHARE = 0.25
_SMALLEST_PX, _LARGEST_PX = 3, 11
_FEWEST_CORNERS = 8
MARKS = cv2.aruco.DICT_4X4_250
"""What the marks on coded boards are taken from (OpenCV's number for it)."""


@dataclass(frozen=True, slots=True, eq=False)
class BoardSeen:
    """One board found in one picture."""

    points_mm: Floats
    """(N, 3) corners on the board, z = 0."""
    pixels: Floats
    """(N, 2) where they are in the picture."""
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class NoBoard:
    """The picture shows no usable board, and why. False in a condition."""

    reason: str

    def __bool__(self) -> bool:
        return False


class Board(Protocol):
    """What every kind of board can do."""

    def find(self, picture: Picture) -> BoardSeen | NoBoard:
        """The board in a grey (H, W) or colour (H, W, 3; blue, green, red) picture."""
        ...

    def drawn(self, *, square_px: int) -> Picture:
        """A grey picture of the board for printing, one square `square_px` wide, with a white margin."""
        ...


@dataclass(frozen=True, slots=True)
class Chessboard:
    """A plain chessboard of `columns` x `rows` squares."""

    columns: int
    rows: int
    square_mm: float

    def __post_init__(self) -> None:
        _check_size(self.columns, self.rows, self.square_mm)

    def find(self, picture: Picture) -> BoardSeen | NoBoard:
        """All inner corners, or none."""
        seen = grey(picture)
        size = (self.columns - 1, self.rows - 1)
        found, corners = cv2.findChessboardCorners(seen, size)
        if not found:
            return NoBoard(
                f"no chessboard of {self.columns} x {self.rows} squares; the whole board must be in the picture, "
                "flat, evenly lit, with a white margin"
            )
        points = _lattice(size, self.square_mm)
        pixels = _refined(seen, np.asarray(corners, np.float32), share=_WINDOW_SHARE)
        return BoardSeen(points, pixels, seen.shape[1], seen.shape[0])

    def drawn(self, *, square_px: int) -> Picture:
        """Black at the top left; the margin is one square."""
        black = (np.add.outer(np.arange(self.rows), np.arange(self.columns)) % 2) == 0
        squares = np.where(np.pad(black, 1), 0, 255).astype(np.uint8)
        return np.kron(squares, np.ones((square_px, square_px), np.uint8))


@dataclass(frozen=True, slots=True)
class CharucoBoard:
    """A chessboard of `columns` x `rows` squares with a coded mark `mark_mm` wide in each white one.

    `numbers` are those of the marks, row by row, of the dictionary MARKS; empty: 0, 1, 2 ... Boards with other numbers
    are not taken for this one.
    """

    columns: int
    rows: int
    square_mm: float
    mark_mm: float
    numbers: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        _check_size(self.columns, self.rows, self.square_mm)
        if not 0 < self.mark_mm < self.square_mm:
            raise ValueError(f"board: mark_mm is {self.mark_mm}; more than 0 and less than square_mm is wanted")
        wanted = self.columns * self.rows // 2
        if self.numbers and len(set(self.numbers)) != wanted:
            raise ValueError(f"board: {len(set(self.numbers))} numbers of marks; {wanted} different ones are wanted")

    def find(self, picture: Picture) -> BoardSeen | NoBoard:
        """The corners that can be seen, at least eight, not all on one line."""
        seen = grey(picture)
        corners, numbers, _, _ = cv2.aruco.CharucoDetector(self._made()).detectBoard(seen)
        if corners is None or len(corners) < _FEWEST_CORNERS:
            count = 0 if corners is None else len(corners)
            return NoBoard(f"{count} corners of the coded board; at least {_FEWEST_CORNERS} are wanted; come nearer")
        index = np.asarray(numbers).ravel()
        points = _lattice((self.columns - 1, self.rows - 1), self.square_mm)[index]
        if np.ptp(points[:, 0]) == 0 or np.ptp(points[:, 1]) == 0:
            return NoBoard("corners of one single line of the coded board; show more of it")
        # the window must not reach the coded mark beside the corner either: its edges pull the corner by 0.3 px
        to_mark = (self.square_mm - self.mark_mm) / (2 * self.square_mm)
        pixels = _refined(seen, np.asarray(corners, np.float32), share=min(_WINDOW_SHARE, to_mark))
        return BoardSeen(points, pixels, seen.shape[1], seen.shape[0])

    def drawn(self, *, square_px: int) -> Picture:
        """The margin is half a square."""
        size = (self.columns * square_px + square_px, self.rows * square_px + square_px)
        return np.asarray(self._made().generateImage(size, marginSize=square_px // 2), np.uint8)

    def _made(self) -> cv2.aruco.CharucoBoard:
        marks = cv2.aruco.getPredefinedDictionary(MARKS)
        numbers = [np.array(self.numbers, np.int32)] if self.numbers else []
        return cv2.aruco.CharucoBoard((self.columns, self.rows), self.square_mm, self.mark_mm, marks, *numbers)


def _check_size(columns: int, rows: int, square_mm: float) -> None:
    if columns < 4 or rows < 4:
        raise ValueError(f"board: {columns} x {rows} squares; at least 4 x 4 are wanted")
    if not square_mm > 0:
        raise ValueError(f"board: square_mm is {square_mm}; a length above 0 is wanted: measure the printed board")


def _lattice(size: tuple[int, int], square_mm: float) -> Floats:
    """Inner corners (N, 3), row by row."""
    column, row = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    points: Floats = (
        np.column_stack([column.ravel(), row.ravel(), np.zeros(column.size)]).astype(np.float64) * square_mm
    )
    return points


def grey(picture: Picture) -> Picture:
    """The picture in grey, (H, W)."""
    return picture if picture.ndim == 2 else np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)


def _refined(grey: Picture, corners: NDArray[np.float32], *, share: float) -> Floats:
    """Corners to a part of a pixel, in a window of `share` of the nearest distance between two of them."""
    points = corners.reshape(-1, 2)
    apart = np.linalg.norm(points[:, None] - points[None], axis=-1)
    np.fill_diagonal(apart, np.inf)
    half = int(np.clip(share * apart.min(), _SMALLEST_PX, _LARGEST_PX))
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 50, 1e-4)
    better = cv2.cornerSubPix(grey, points.reshape(-1, 1, 2).copy(), (half, half), (-1, -1), criteria)
    return np.asarray(better, np.float64).reshape(-1, 2)
