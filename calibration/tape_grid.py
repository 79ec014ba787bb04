"""A grid of straight lines taped or printed on the floor: every crossing, from the four outermost ones.

Where two straight bands cross, the picture looks the same after half a turn about the crossing, whatever the width and
the colour of the bands and whatever angle they cross at. So a crossing is the point about which the picture is most
like itself turned by half a turn: the peak of the picture's convolution with itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike
from scipy.signal import fftconvolve

from calibration.board import Picture
from calibration.errors import CalibrationError
from calibration.lens import Floats, Lens

_REACH_SHARE = 0.22
"""How far about its expected place a crossing is looked for, as a part of the way to the next one."""
_LEAST_REACH_PX, _MOST_REACH_PX = 6.0, 40.0
_ROUNDS_COUNT = 4
_LEAST_LIKENESS = 0.6
"""Of the picture about a crossing with itself turned by half a turn (correlation)."""
_LEAST_EDGES = 3.0
"""Root mean square slope, grey levels per pixel, along the direction in which there are fewest edges."""
_CORNERS_COUNT = 4


@dataclass(frozen=True, slots=True)
class TapeGrid:
    """Lines along x and along y on the floor, their crossings at equal steps."""

    columns: int
    """Crossings along x, at least 2."""
    rows: int
    """Crossings along y, at least 2."""
    step_x_mm: float
    step_y_mm: float
    first_mm: tuple[float, float] = (0.0, 0.0)
    """Tank x, y of the crossing with the least x and the least y."""

    def __post_init__(self) -> None:
        if self.columns < 2 or self.rows < 2:
            raise CalibrationError("grid", [f"found {self.columns} x {self.rows} crossings; at least 2 x 2 are wanted"])
        if not (self.step_x_mm > 0 and self.step_y_mm > 0):
            found = f"found steps of {self.step_x_mm:g} and {self.step_y_mm:g} mm"
            raise CalibrationError("grid", [f"{found}; lengths above 0 are wanted, from crossing to crossing"])

    def places_mm(self) -> Floats:
        """(N, 2) tank x, y of all crossings, row by row, the row with the least y first."""
        x, y = np.meshgrid(np.arange(self.columns) * self.step_x_mm, np.arange(self.rows) * self.step_y_mm)
        return np.column_stack([x.ravel(), y.ravel()]) + self.first_mm

    def corner_indices(self) -> tuple[int, int, int, int]:
        """Which of these are the outermost: least x and y; most x, least y; most x and y; least x, most y."""
        last = self.columns * self.rows - 1
        return 0, self.columns - 1, last, last - self.columns + 1


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """What was found of a grid. N of its crossings."""

    index: tuple[int, ...]
    """Which ones, as in `TapeGrid.places_mm`."""
    pixels: Floats
    """(N, 2)"""
    missed: tuple[int, ...]
    """Those that were not found."""


def find_crossings(picture: Picture, lens: Lens, grid: TapeGrid, corners_px: ArrayLike) -> Crossings:
    """All crossings of `grid` in a grey picture.

    Args:
        picture: (H, W), grey.
        lens: The calibrated lens; it bends straight lines.
        grid: What was taped.
        corners_px: (4, 2) about where the outermost ones are, in the order of `TapeGrid.corner_indices`.

    Raises:
        CalibrationError: the four corners cannot be those of a grid; or fewer than four crossings are to be seen.
    """
    corners = np.asarray(corners_px, np.float64).reshape(-1, 2)
    _check_corners(corners)
    expected = _expected(lens, grid, corners)
    reach = np.clip(_REACH_SHARE * _nearest(expected, grid), _LEAST_REACH_PX, _MOST_REACH_PX)
    seen = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 0.8)
    found = [crossing_near(seen, place, float(far)) for place, far in zip(expected, reach, strict=True)]
    index = tuple(number for number, one in enumerate(found) if one is not None)
    if len(index) < _CORNERS_COUNT:
        wrong = f"only {len(index)} crossings of the grid are to be seen; point at its outermost ones again"
        raise CalibrationError("grid", [wrong])
    missed = tuple(number for number, one in enumerate(found) if one is None)
    return Crossings(index, np.array([one for one in found if one is not None]), missed)


def _check_corners(corners: Floats) -> None:
    if corners.shape != (_CORNERS_COUNT, 2):
        raise CalibrationError("grid", [f"found {len(corners)} outermost crossings; the four corners are wanted"])
    after, before = np.roll(corners, -1, 0) - corners, corners - np.roll(corners, 1, 0)
    turns = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    if not ((turns > 0).all() or (turns < 0).all()):
        wrong = (
            "the four outermost crossings do not go round the grid; wanted in this order: least x and y; most x, "
            "least y; most x and y; least x, most y"
        )
        raise CalibrationError("grid", [wrong])
    if (turns > 0).all():
        wrong = (
            "the four outermost crossings go round the wrong way, as in a mirror; wanted: least x and y; most x, "
            "least y; most x and y; least x, most y, with y to the left of x"
        )
        raise CalibrationError("grid", [wrong])


def _expected(lens: Lens, grid: TapeGrid, corners: Floats) -> Floats:
    """Where the crossings should be (N, 2): projective from the corners' rays, for the lens is taken out of them."""
    places = grid.places_mm()
    source = places[list(grid.corner_indices())].astype(np.float32)
    target = lens.rays(corners)[:, :2].astype(np.float32)
    way = np.asarray(cv2.getPerspectiveTransform(source, target), np.float64)
    mapped = np.column_stack([places, np.ones(len(places))]) @ way.T
    return lens.pixels(np.column_stack([mapped[:, :2] / mapped[:, 2:], np.ones(len(places))]))


def _nearest(pixels: Floats, grid: TapeGrid) -> Floats:
    """How far (N,) it is from each crossing to its nearest neighbour, px."""
    apart = np.linalg.norm(pixels[:, None] - pixels[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    nearest: Floats = apart.min(1)
    return nearest


def crossing_near(soft: Sequence[float] | np.ndarray, place_px: ArrayLike, reach_px: float) -> Floats | None:
    """The crossing (2,) near `place_px` in a softened grey picture, or None where none is within `reach_px`."""
    picture = np.asarray(soft, np.float32)
    start = np.asarray(place_px, np.float64)
    at, half = start, int(np.ceil(1.6 * reach_px))
    for turn in range(_ROUNDS_COUNT):
        centre = np.rint(at).astype(int)
        (left, top), (right, bottom) = centre - half, centre + half + 1
        if left < 0 or top < 0 or right > picture.shape[1] or bottom > picture.shape[0]:
            return None
        window = picture[top:bottom, left:right].astype(np.float64)
        if turn == 0 and not _has_two_directions(window):
            return None
        found = _point_of_symmetry(window, at - centre, half)
        if found is None:
            return None
        offset, likeness = found
        at = centre + offset
        if np.linalg.norm(at - start) > reach_px:
            return None
    return at if likeness >= _LEAST_LIKENESS else None


def _has_two_directions(window: Floats) -> bool:
    down, across = np.gradient(window)
    tensor = np.array([[np.mean(across**2), np.mean(across * down)], [np.mean(across * down), np.mean(down**2)]])
    return bool(np.sqrt(max(np.linalg.eigvalsh(tensor)[0], 0.0)) > _LEAST_EDGES)


def _point_of_symmetry(window: Floats, about: Floats, half: int) -> tuple[Floats, float] | None:
    """Where from the window's middle (2,) it is most like itself turned by half a turn, and how like (-1 to 1)."""
    rows, columns = np.indices(window.shape) - half
    weight = np.exp(-((columns - about[0]) ** 2 + (rows - about[1]) ** 2) / (2 * (half / 2.2) ** 2))
    mean = float(np.sum(weight * window) / np.sum(weight))
    shown = weight * (window - mean)
    power = float(np.sum(shown**2))
    if power <= 0:
        return None
    # entry 2·half + k of the convolution belongs to the point k / 2 from the middle
    likeness = fftconvolve(shown, shown) / power
    row, column = np.unravel_index(int(likeness.argmax()), likeness.shape)
    if not (0 < row < likeness.shape[0] - 1 and 0 < column < likeness.shape[1] - 1):
        return None
    near = likeness[row - 1 : row + 2, column - 1 : column + 2]
    fine = np.array([column, row]) + _peak(near)
    return (fine - 2 * half) / 2, float(near[1, 1])


def _peak(near: Floats) -> Floats:
    """Offset (2,) of the top of a paraboloid through 3 x 3 values from their middle."""
    (across, down) = (near[1, 2] - near[1, 0]) / 2, (near[2, 1] - near[0, 1]) / 2
    bend = np.array(
        [
            [near[1, 2] - 2 * near[1, 1] + near[1, 0], (near[2, 2] - near[2, 0] - near[0, 2] + near[0, 0]) / 4],
            [0.0, near[2, 1] - 2 * near[1, 1] + near[0, 1]],
        ]
    )
    bend[1, 0] = bend[0, 1]
    if np.linalg.det(bend) <= 0:
        return np.zeros(2)
    offset: Floats = np.clip(-np.linalg.solve(bend, [across, down]), -1, 1)
    return offset
