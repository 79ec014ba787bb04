"""What is printed to calibrate with, in true millimetres. Printing and finding both ask here.

No mark can be taken for another one, nor for a boat's tag: the two boards have numbers of their own; each of these
differs from every boat's tag, however it lies, in at least three of its sixteen cells and from its own mirror image
(tests/calibration/test_targets.py counts it); the rim's marks are of another family with more cells (tags.RIM_FAMILY).
"""

from __future__ import annotations

from calibration.board import CharucoBoard

LENS_BOARD = CharucoBoard(
    7, 8, 24.0, 17.0,
    (0, 1, 3, 4, 5, 6, 7, 10, 11, 12, 14, 15, 16, 19, 20, 22, 24, 25, 26, 28, 30, 31, 32, 34, 35, 37, 38, 39),
)  # fmt: skip
"""The board that is shown to the camera from many sides. It fits on A4 and on Letter."""

PLANE_BOARD = CharucoBoard(
    5, 6, 33.0, 24.0,
    (40, 41, 42, 43, 44, 45, 46, 48, 49, 50, 51, 54, 56, 57, 60),
)  # fmt: skip
"""The board that floats on the water. Fewer and larger squares: it is seen from the camera's own height."""

RIM_NUMBERS = tuple(range(6))
"""Marks for the rim that are printed unless others are asked for: one for each corner and each long side."""

RIM_SIZE_MM = 45.0
"""Side of a rim mark's black square, unless another is asked for."""

GRID_STEP_MM, GRID_ACROSS_MM, GRID_UPRIGHT_MM = 20.0, 160.0, 180.0
"""The plane grid: from line to line, and from its first to its last line both ways."""
