"""Small pieces of a picture that are easily found again, and by how much each has moved in another picture.

A piece on a corner tells of both directions; one on a straight edge, such as a tank's rim, only of the direction across
it. So each piece gives one or two *readings*: a direction and how far the piece is off along it. How well a reading
can be made follows from the edge's steepness and the picture's noise; what it cannot tell it does not guess.

Brightness and contrast of each piece are taken out first, so that a lamp or a cloud moves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, spline_filter

from calibration.lens import Floats

Grey = NDArray[np.uint8]
Singles = NDArray[np.float32]

HALF_PX = 7
"""A piece is (2·HALF_PX + 1)² pixels."""
_CELL_PX = 48
"""Pieces are taken evenly from squares of this side, so that one rich corner does not decide alone."""
_BLUR_PX = 0.8
"""Softens noise and pixels alike, so that reading between pixels is right to a few hundredths."""
_TOGETHER = 1.9
"""Softened noise is alike in neighbouring pixels: an edge as sharp as a lens draws it is read so many times worse than
if it were not (tried on drawn edges; tests/calibration/test_patches.py)."""
_WORST_READING_PX = 0.25
"""A direction in which noise alone would make the reading worse than this is not read."""
_OFFSETS = np.stack(
    np.meshgrid(np.arange(-HALF_PX, HALF_PX + 1.0), np.arange(-HALF_PX, HALF_PX + 1.0)), axis=-1
).reshape(-1, 2)


@dataclass(frozen=True, slots=True, eq=False)
class Patches:
    """N pieces of one picture, of K pixels each."""

    centres_px: Floats
    """(N, 2) column and row."""
    levels: Singles
    """(N, K) grey levels about the piece's mean."""
    slopes: Singles
    """(N, K, 2) grey levels per pixel along columns and rows, without what brightness and contrast could do as well."""
    noise_levels: float
    """Standard deviation of the (softened) picture's noise."""


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """M readings of how far pieces are off."""

    patch: NDArray[np.intp]
    """(M,) index of the piece."""
    direction: Floats
    """(M, 2) unit vectors in the picture."""
    off_px: Floats
    """(M,) how much farther along `direction` the piece lies than where it was looked for."""
    noise_px: Floats
    """(M,) standard uncertainty from the pictures' noise alone."""
    u_px: Floats
    """(M,) the same, widened as far as the piece itself looks different now."""
    likeness: Floats
    """(M,) correlation of the piece with what was found there, -1 to 1."""


@dataclass(frozen=True, slots=True, eq=False)
class Sharp:
    """A picture that can be read between its pixels.

    By cubic splines: OpenCV's cubic reading moves edges by up to 0.03 px, and its places are rounded to 1/32 px.
    """

    soft: Singles
    """(H, W) softened grey levels."""
    spline: Singles
    """(H, W) their spline coefficients."""


def sharp(picture: Grey) -> Sharp:
    """The picture as pieces are taken from it and looked for in it."""
    soft = np.asarray(cv2.GaussianBlur(picture.astype(np.float32), (0, 0), _BLUR_PX), np.float32)
    return Sharp(soft, np.asarray(spline_filter(soft, order=3, output=np.float32), np.float32))


def take(picture: Sharp) -> Patches:
    """The pieces of a picture that tell most of their place, evenly from all over it."""
    noise = max(_noise(picture.soft), 1.0)
    across = cv2.Scharr(picture.soft, cv2.CV_32F, 1, 0) / 32
    down = cv2.Scharr(picture.soft, cv2.CV_32F, 0, 1) / 32
    sums = [cv2.boxFilter(p, -1, (2 * HALF_PX + 1,) * 2, normalize=False) for p in (across**2, across * down, down**2)]
    middle, spread = (sums[0] + sums[2]) / 2, np.hypot((sums[0] - sums[2]) / 2, sums[1])
    least = (_TOGETHER * noise / _WORST_READING_PX) ** 2
    centres = [*_best(middle - spread, least), *_best(middle + spread, least)]
    kept = np.array(sorted(set(centres)), np.float64).reshape(-1, 2)
    levels, slopes = (np.zeros((len(kept), 0), np.float32), np.zeros((len(kept), 0, 2), np.float32))
    if len(kept):
        where = kept[:, None, :] + _OFFSETS
        columns, rows = where.astype(np.intp).transpose(2, 0, 1)
        levels = picture.soft[rows, columns]
        levels = levels - levels.mean(1, keepdims=True)
        slopes = _freed(np.stack([across[rows, columns], down[rows, columns]], -1), levels)
    return Patches(kept, levels, slopes, noise)


def look(patches: Patches, picture: Sharp, at_px: Floats, stretch: Floats) -> Readings:
    """How far the pieces are off in another picture.

    Args:
        patches: The pieces.
        picture: Where to look.
        at_px: (N, 2) where each piece's middle is expected.
        stretch: (N, 2, 2) how its pixels are expected to lie about the middle.
    """
    where = at_px[:, None, :] + _OFFSETS @ np.swapaxes(stretch, 1, 2)
    seen = _read(picture, where)
    seen = seen - seen.mean(1, keepdims=True)
    size, size_seen = (np.sqrt((p.astype(np.float64) ** 2).sum(1)) for p in (patches.levels, seen))
    inside = np.isfinite(size_seen)
    likeness = np.where(inside, (patches.levels * seen).sum(1) / (size * np.maximum(size_seen, 1e-9)), -1.0)
    gain = size / np.maximum(size_seen, 1e-9)
    off = (patches.levels - seen * gain[:, None]).astype(np.float64)
    slopes = patches.slopes.astype(np.float64)
    pull = np.einsum("nk,nki->ni", np.nan_to_num(off), slopes)
    steep, axes = np.linalg.eigh(np.einsum("nki,nkj->nij", slopes, slopes))
    steep = np.maximum(steep, 1e-9)
    # noise of both pictures, and that of the seen one is amplified with its contrast
    noise = patches.noise_levels * np.sqrt(1 + np.minimum(gain, 4) ** 2)
    least_u = _TOGETHER * noise[:, None] / np.sqrt(steep)
    can_be_read = (least_u < 2 * _WORST_READING_PX) & inside[:, None]
    along = np.where(can_be_read, np.einsum("nij,ni->nj", axes, pull) / steep, 0.0)
    unlike = off - np.einsum("nki,nij,nj->nk", slopes, axes, along)
    misfit = np.sqrt((np.nan_to_num(unlike) ** 2).mean(1)) / noise
    patch, axis = np.nonzero(can_be_read)
    direction = np.einsum("mij,mj->mi", stretch[patch], axes[patch, :, axis])
    length = np.linalg.norm(direction, axis=1)
    u = least_u[patch, axis] * length
    return Readings(
        patch, direction / length[:, None], along[patch, axis] * length, u, u * np.maximum(misfit[patch], 1.0),
        likeness[patch],
    )  # fmt: skip


def _freed(slopes: Singles, levels: Singles) -> Singles:
    """Slopes (N, K, 2) without their parts that go with the mean and with the levels (N, K) about it."""
    slopes = slopes - slopes.mean(1, keepdims=True)
    shared = np.einsum("nk,nki->ni", levels, slopes) / np.maximum((levels**2).sum(1), 1e-9)[:, None]
    return np.asarray(slopes - levels[:, :, None] * shared[:, None, :], np.float32)


def _best(score: Floats, least: float) -> list[tuple[float, float]]:
    """The best place of each cell whose score is `least` or more: (column, row)."""
    margin = HALF_PX + 2
    found = []
    for top in range(margin, score.shape[0] - margin, _CELL_PX):
        for left in range(margin, score.shape[1] - margin, _CELL_PX):
            cell = score[top : min(top + _CELL_PX, score.shape[0] - margin), :][
                :, left : min(left + _CELL_PX, score.shape[1] - margin)
            ]
            row, column = np.unravel_index(int(cell.argmax()), cell.shape)
            if cell[row, column] >= least:
                found.append((float(left + column), float(top + row)))
    return found


def _noise(picture: Singles) -> float:
    """Standard deviation of noise, from what is neither level nor slope (Immerkær 1996), by its median."""
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    rough = np.abs(cv2.filter2D(picture, cv2.CV_32F, kernel)[2:-2, 2:-2])
    # softened noise has less of what the kernel lets through: by 1 / 6 for white noise, by _ROUGH for ours
    return float(np.median(rough)) * 1.4826 / _ROUGH


def _rough() -> float:
    """What the kernel of `_noise` makes of softened white noise whose standard deviation after softening is 1."""
    size = 33
    point = np.zeros((size, size), np.float32)
    point[size // 2, size // 2] = 1
    soft = cv2.GaussianBlur(point, (0, 0), _BLUR_PX)
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    return float(np.sqrt((cv2.filter2D(soft, cv2.CV_32F, kernel) ** 2).sum() / (soft**2).sum()))


_ROUGH = _rough()


def _read(picture: Sharp, where: Floats) -> Singles:
    """Values (N, K) of the picture at `where` (N, K, 2), between pixels; NaN outside."""
    at = np.ascontiguousarray(where[..., ::-1].reshape(-1, 2).T)
    values = map_coordinates(picture.spline, at, order=3, prefilter=False, mode="constant", cval=np.nan)
    return np.asarray(values, np.float32).reshape(where.shape[:-1])
