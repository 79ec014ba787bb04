"""The one movement of a camera that explains where most pieces of an old picture are seen now.

The camera turns about its lens and shifts: six numbers, fitted to the pieces' readings by Gauss-Newton, from small
pictures to full size. A piece is taken as lying on the water plane; for a turn that does not matter. What does not go
along is left out by its residual (Tukey's biweight). Pieces seen through the water and dry ones are trusted as far as
each kind agrees with itself, so ripples over the floor's pattern do not spoil what the rim says.

Seen from above, turn and shift are nearly the same; their common effect is well known even where they are not. So
neither is told, and their covariance is used as a whole. Neighbours err together: scatter is taken by cells of the
picture (leaving out one after the other: the jackknife, Tukey 1958), on top of what noise alone would do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens import Floats
from calibration.patches import Patches, Sharp, look
from calibration.waterplane import Pose, View

STEPS_COUNT = 12
"""Steps of the fit at each size of the picture."""
_ENOUGH_MM = 1e-3
"""A step smaller than this ends the fit at one size."""
_TRUST_ROUNDS_COUNT = 10
_CLEAR_PX = 0.1
"""A reading that noise makes no worse than this counts as clear: in a noisy picture, grain is taken for pieces too."""
_LIKENESS, _CLEAR_LIKENESS = 0.6, 0.8
"""A piece that is less like what is found in its place is hidden behind something; to be found again takes more."""
_LEAST_SPREAD_PX = 0.02
"""No readings agree better than this; they are not trusted beyond it."""
_LOOSE_MM = 200.0
"""The camera has moved by some such amount at most; holds the fit where pieces leave a movement open."""
_CELL_SHARE = 1 / 8
"""Pieces within this share of the picture's width err together."""
_BIWEIGHT = 4.685
"""Tukey's constant: 95 % efficient for normal residuals (Holland and Welsch 1977)."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The camera as it is now, and the M readings that say so."""

    pose: Pose
    design: Floats
    """(M, 6) px/mm: how each reading changes with the pose: turn times height, shift."""
    rest_px: Floats
    """(M,) what is left of each reading."""
    weights: Floats
    """(M,) 1/px²; 0 where a reading is left out."""
    pieces: NDArray[np.intp]
    """(M,) which piece it is a reading of."""
    cells: NDArray[np.intp]
    """(M,) in which part of the picture it lies."""
    share: float
    """Clear readings that went along, of all that the old picture offers."""


def fit(
    view: View,
    sizes: Sequence[tuple[int, Patches]],
    pictures: Mapping[int, Sharp],
    *,
    start: Pose,
    water_px: Floats | None = None,
) -> Fit:
    """Where the camera is now.

    Args:
        view: The camera as it was.
        sizes: (how many times reduced, its pieces in the old picture), at least one, the smallest picture first.
        pictures: The new picture, by how many times it is reduced.
        start: Where the camera may be now.
        water_px: (N, 2) corners of the water in the old picture; None: all pieces are of one kind.
    """
    pose, found = start, None
    for reduction, patches in sizes:
        for _ in range(STEPS_COUNT):
            found, step_mm = _step(view, pose, patches, pictures[reduction], reduction=reduction, water_px=water_px)
            if np.abs(step_mm).max() < _ENOUGH_MM:
                break
            pose = pose.moved(step_mm[:3] / pose.camera_mm[2], step_mm[3:])
    if found is None:
        raise ValueError("fit: found no pieces; pieces of at least one size are wanted")
    return found


def by_pose(view: View, points_mm: Floats) -> Floats:
    """d(u, v)/d(turn times height, shift), (N, 2, 6) px/mm, of `points_mm` (N, 3) seen by `view`."""
    small_mm, height = 0.1, float(view.pose.camera_mm[2])
    columns = []
    for index in range(6):
        change = np.zeros(6)
        change[index] = small_mm
        ways = [View(view.lens, view.pose.moved(s * change[:3] / height, s * change[3:])) for s in (1, -1)]
        forward, back = (way.to_pixels(points_mm) for way in ways)
        columns.append((forward - back) / (2 * small_mm))
    return np.stack(columns, -1)


def pose_covariance(found: Fit) -> Floats:
    """(6, 6) mm² of turn times height and shift: what noise alone does, and what each cell's pieces do on top.

    The second part is how much the answer changes without one cell after the other (jackknife). It is large where few
    cells decide, which their own small residuals would not show.
    """
    design, weights = found.design, found.weights
    normal = (design * weights[:, None]).T @ design + np.eye(6) / _LOOSE_MM**2
    pull = design.T @ (weights * found.rest_px)
    cells = np.unique(found.cells[weights > 0])
    changes = []
    for cell in cells:
        rows = found.cells == cell
        own, own_weights = design[rows], weights[rows]
        without = normal - (own * own_weights[:, None]).T @ own
        changes.append(np.linalg.solve(without, pull - own.T @ (own_weights * found.rest_px[rows])))
    apart = np.array(changes)
    jackknife: Floats = apart.T @ apart * (len(cells) - 1) / max(len(cells), 1)
    return jackknife + np.linalg.inv(normal)


def _step(
    view: View, pose: Pose, patches: Patches, picture: Sharp, *, reduction: int, water_px: Floats | None
) -> tuple[Fit, Floats]:
    """Look for the pieces with the camera at `pose`; by how much (6,) mm it should be moved further."""
    centres = (patches.centres_px + 0.5) * reduction - 0.5
    at_px, stretch, change = _expected(view, pose, centres)
    seen = look(patches, picture, (at_px + 0.5) / reduction - 0.5, stretch)
    design = np.einsum("mi,mij->mj", seen.direction, change[seen.patch])
    usable = (seen.likeness > _LIKENESS) & np.isfinite(design).all(1)
    design, u_px = np.nan_to_num(design), seen.u_px * reduction
    off_px = np.where(usable, seen.off_px * reduction, 0.0)
    wet = _is_wet(water_px, centres)[seen.patch]
    weights: Floats = usable / np.maximum(u_px, _LEAST_SPREAD_PX) ** 2
    step = np.zeros(6)
    for _ in range(_TRUST_ROUNDS_COUNT):
        step = _solved(design, off_px, weights)
        weights = _trusted(off_px - design @ step, u_px, wet, usable)
    clear = seen.noise_px < _CLEAR_PX
    found = (weights > 0) & (seen.likeness > _CLEAR_LIKENESS)
    share = int(np.count_nonzero(found & clear)) / max(int(np.count_nonzero(clear)), 1)
    column, row = (centres[seen.patch] // (view.lens.width_px * _CELL_SHARE)).astype(np.intp).T
    cells = row * 1000 + column
    return Fit(pose, design, off_px - design @ step, weights, seen.patch, cells, share), step


def _expected(view: View, pose: Pose, centres_px: Floats) -> tuple[Floats, Floats, Floats]:
    """Where (N, 2) pieces on the water plane are seen from `pose`, stretched how (N, 2, 2), and d/d(pose) (N, 2, 6)."""
    ends = np.concatenate([centres_px + offset for offset in ((0, 0), (1, 0), (0, 1))])
    on_water = view.to_plane(ends)
    points = np.column_stack([on_water, np.zeros(len(on_water))])
    now = View(view.lens, pose)
    here, right, below = np.split(now.to_pixels(points), 3)
    return here, np.stack([right - here, below - here], -1), by_pose(now, points[: len(centres_px)])


def _solved(design: Floats, off_px: Floats, weights: Floats) -> Floats:
    normal = (design * weights[:, None]).T @ design + np.eye(6) / _LOOSE_MM**2
    return np.asarray(np.linalg.solve(normal, design.T @ (weights * off_px)), np.float64)


def _trusted(rest_px: Floats, u_px: Floats, wet: NDArray[np.bool_], usable: NDArray[np.bool_]) -> Floats:
    """Weights (M,) 1/px² from the residuals, wet and dry readings each by their own scatter."""
    weights = np.zeros(len(rest_px))
    for kind in (False, True):
        chosen = usable & (wet == kind)
        if chosen.any():
            told_px = np.hypot(u_px[chosen], _LEAST_SPREAD_PX)
            scale = told_px * max(1.4826 * float(np.median(np.abs(rest_px[chosen]) / told_px)), 1.0)
            far = np.minimum(np.abs(rest_px[chosen]) / (_BIWEIGHT * scale), 1.0)
            weights[chosen] = (1 - far**2) ** 2 / scale**2
    return weights


def _is_wet(water_px: Floats | None, centres_px: Floats) -> NDArray[np.bool_]:
    """(N,) whether each lies within the water's outline."""
    if water_px is None:
        return np.zeros(len(centres_px), bool)
    outline = water_px.astype(np.float32).reshape(-1, 1, 2)
    return np.array([cv2.pointPolygonTest(outline, (float(u), float(v)), False) >= 0 for u, v in centres_px], bool)
