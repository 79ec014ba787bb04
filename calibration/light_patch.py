"""Where in the picture the light is, and how bright it is there in each picture.

Brightness is read from single *cells*, a pixel or a block of pixels in one colour channel, because a light that is cut
off at the top in one channel or at its centre may still be read in another or in its halo. Only cells that follow the
switches and are not cut off are used. Rows and columns are pixel centres on whole numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.light import Glimpses
from calibration.light_pattern import Floats, Pattern, Switches, searched_s

Bytes = NDArray[np.uint8]

BLOCK_PX = 8
"""Side of a block when the whole picture is searched."""
CLIPPED_LEVELS = 250
"""From here on a cell counts as cut off: JPEG takes a few levels off a full 255."""
_FEWEST_PICTURES = 40
_LEAST_CORRELATION = 0.7
_CROP_PX = 24  # half the side of what is kept around a light that was found
_STEP_S = 8e-3
_CHUNK = 1024
_WEAKEST_SHARE, _LOOSEST_SHARE = 0.3, 0.8  # of the strongest cell's step and of its correlation
_FEWEST_LEVELS = 12.0
_ROWS_SHARE = 0.25  # of the exposure: rows that begin further apart are not read together


@dataclass(frozen=True, slots=True)
class Region:
    """A square of the picture: columns u ± r, rows v ± r."""

    u_px: int
    v_px: int
    r_px: int = _CROP_PX

    def cut(self, image: Bytes) -> tuple[Bytes, int]:
        """A copy of what lies inside the picture, and the row of its top. ValueError if nothing does."""
        top, left = max(self.v_px - self.r_px, 0), max(self.u_px - self.r_px, 0)
        piece = image[top : self.v_px + self.r_px + 1, left : self.u_px + self.r_px + 1]
        if piece.size == 0 or self.v_px + self.r_px < 0 or self.u_px + self.r_px < 0:
            height, width = image.shape[:2]
            raise ValueError(f"region {self.u_px},{self.v_px},{self.r_px}: lies outside the picture ({width}x{height})")
        return piece.copy(), top


@dataclass(frozen=True, slots=True, eq=False)
class Times:
    """What the camera said of N pictures; arrays (N,) of ns, stamps rising."""

    t_ns: NDArray[np.int64]
    exposure_ns: NDArray[np.int64]
    line_ns: NDArray[np.int64]


def blocks(image: Bytes) -> Bytes:
    """`image` (H, W, 3) in blocks of BLOCK_PX: their means, (H/8, W/8, 3)."""
    size = (max(image.shape[1] // BLOCK_PX, 1), max(image.shape[0] // BLOCK_PX, 1))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)


def find_light(switches: Switches, times: Times, small: Bytes, *, place: str = "light") -> Region:
    """Where the light is, from pictures in blocks, `small` (N, H/8, W/8, 3).

    Raises:
        CalibrationError: too few pictures, or no block follows the switches.
    """
    followed = _follow(switches, times, small.reshape(len(small), -1), place)
    good = followed.correlation > 0.9 * followed.correlation.max()
    best = int(np.argmax(np.where(good, followed.step, 0.0)))
    row, column, _ = np.unravel_index(best, small.shape[1:])
    middle = (BLOCK_PX - 1) / 2
    return Region(round(int(column) * BLOCK_PX + middle), round(int(row) * BLOCK_PX + middle))


def read_light(switches: Switches, times: Times, crops: Bytes, *, top_px: int, place: str = "light") -> Glimpses:
    """How bright the light is in each of the `crops` (N, h, w, 3), the uppermost row of which is `top_px`.

    Raises:
        CalibrationError: nothing in them follows the switches.
    """
    cells = crops.reshape(len(crops), -1)
    followed = _follow(switches, times, cells, place)
    rows = np.unravel_index(np.arange(cells.shape[1]), crops.shape[1:])[0]
    chosen = _chosen(followed, rows, _most_rows(times))
    values = cells[:, chosen]
    weight = followed.step[chosen]
    return Glimpses(
        t_ns=times.t_ns,
        exposure_ns=times.exposure_ns,
        line_ns=times.line_ns,
        brightness=values.mean(axis=1),
        clipped=np.asarray((values >= CLIPPED_LEVELS).mean(axis=1) > 0.5),
        row_px=top_px + float(weight @ rows[chosen] / weight.sum()),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Followed:
    """How each of P cells follows the switches at the delay that explains the best of them best."""

    correlation: Floats
    step: Floats
    """Levels that the light adds."""
    clipped_share: Floats
    """Part of the pictures with the light on in which the cell is cut off."""


def _follow(switches: Switches, times: Times, cells: Bytes, place: str) -> _Followed:
    if len(cells) < _FEWEST_PICTURES or len(switches.on) < 2:
        fault = f"found {len(cells)} pictures and {len(switches.on)} switches while looking for the light; blink longer"
        raise CalibrationError(place, [fault])
    pattern = Pattern(switches.turns(), times.t_ns + times.exposure_ns // 2)
    width = np.maximum(times.exposure_ns / 1e9, _STEP_S)
    delay = _best_delay(pattern, cells, width)
    pieces = [pattern.correlation(piece, width_s=width, delays_s=delay) for piece in _pieces(cells)]
    correlation, step = (np.concatenate([piece[part][0] for piece in pieces]) for part in (0, 1))
    if correlation.max() < _LEAST_CORRELATION:
        fault = (
            f"no place in the picture follows the switches (best correlation {correlation.max():.2f}, "
            f"wanted {_LEAST_CORRELATION}); is the light in the picture, is it the one that is switched, is it too "
            "bright or too dim to change anything?"
        )
        raise CalibrationError(place, [fault])
    lit = pattern.lit(pattern.claimed_s - delay, width) > 0.99
    clipped = (cells[lit] >= CLIPPED_LEVELS).mean(axis=0) if lit.any() else np.zeros(cells.shape[1])
    return _Followed(correlation, step, clipped)


def _pieces(cells: Bytes) -> Iterator[Floats]:
    """A few columns of `cells` at a time: all delays for all cells at once would need hundreds of megabytes."""
    for at in range(0, cells.shape[1], _CHUNK):
        yield cells[:, at : at + _CHUNK].astype(np.float64)


def _best_delay(pattern: Pattern, cells: Bytes, width_s: Floats) -> Floats:
    """(1,) the delay at which one of the cells follows best."""
    delays, best = searched_s(_STEP_S), np.full(len(searched_s(_STEP_S)), -1.0)
    for piece in _pieces(cells):
        best = np.maximum(best, pattern.correlation(piece, width_s=width_s, delays_s=delays)[0].max(axis=1))
    return delays[[int(np.argmax(best))]]


def _most_rows(times: Times) -> int:
    line, exposure = float(np.median(times.line_ns)), float(np.median(times.exposure_ns))
    return 10_000 if line == 0 or exposure == 0 else max(1, int(_ROWS_SHARE * exposure / line))


def _chosen(followed: _Followed, rows: NDArray[np.intp], most_rows: int) -> NDArray[np.intp]:
    """Cells to read: those that follow well and are not cut off; cut-off ones where there are no others."""
    follows = (followed.correlation > _LOOSEST_SHARE * followed.correlation.max()) & (followed.step > 0)
    whole = follows & (followed.clipped_share < 0.02)
    if not np.any(whole & (followed.step > _FEWEST_LEVELS)):
        whole = follows
    strong = whole & (followed.step > _WEAKEST_SHARE * followed.step[whole].max())
    middle = float(followed.step[strong] @ rows[strong] / followed.step[strong].sum())
    near = np.abs(rows - middle) <= max(most_rows / 2, np.abs(rows[strong] - middle).min())
    return np.flatnonzero(strong & near)
