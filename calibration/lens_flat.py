"""What a board that is not quite flat does to the lens.

Every picture shows the same board, so its bow does not show in how pictures differ, and hardly in what corners are off:
it hides in the focal length. A bow of 0.15 mm makes it wrong by several of the uncertainties that the corners alone
would give (`python -m tests.bench.lens --kinds bowed`). So it is carried through as a doubt of its own: bowed across,
bowed up, twisted, each by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.board import BoardSeen
from calibration.lens import Floats
from calibration.lens_information import information
from calibration.lens_solve import Solved, linear

USUAL_GAP_MM = 0.3
"""Widest gap under a straight edge laid over a well glued board (common practice, no source)."""

_SMALL_MM = 0.01


def u_flat_mm(gap_mm: float) -> float:
    """Standard uncertainty of each kind of bow, if the gap under a straight edge is anywhere up to `gap_mm`.

    The bow is anywhere within ± the gap: rectangular (JCGM 100:2008, 4.3.7).
    """
    return gap_mm / float(np.sqrt(3))


def bows(points_mm: Floats, low_mm: Floats, high_mm: Floats) -> tuple[Floats, Floats, Floats]:
    """Heights (N,) of the corners of boards that are bowed across, bowed up, twisted by 1 mm at the most."""
    across, upright = (2 * (points_mm[:, :2] - low_mm) / (high_mm - low_mm) - 1).T
    return 1 - across**2, 1 - upright**2, across * upright


def by_bow(solved: Solved, views: Sequence[BoardSeen]) -> list[Floats]:
    """For each view how its fitted pixels (2N, 3) follow the three kinds of bow, per mm; poses and lens stay."""
    every = np.concatenate([view.points_mm[:, :2] for view in views])
    low, high = every.min(0), every.max(0)
    found = []
    for view, pose in zip(views, solved.poses, strict=True):
        still = linear(solved.lens, view, pose)[0]
        moved = []
        for height in bows(view.points_mm, low, high):
            bent = replace(view, points_mm=view.points_mm + np.outer(height, [0, 0, _SMALL_MM]))
            moved.append((still - linear(solved.lens, bent, pose)[0]) / _SMALL_MM)
        found.append(np.column_stack(moved))
    return found


def flat_covariance(solved: Solved, views: Sequence[BoardSeen], *, u_mm: float) -> Floats:
    """What a bow of standard uncertainty `u_mm` adds to the lens's covariance (9, 9), to first order."""
    _, jacobians = information(solved, {str(index): view for index, view in enumerate(views)})
    stacked = np.concatenate(jacobians)
    scale = np.linalg.norm(stacked, axis=0)
    pulls = np.concatenate(by_bow(solved, views))
    change = np.linalg.lstsq(stacked / scale, pulls, rcond=None)[0] / scale[:, None] * u_mm
    covariance = np.zeros((9, 9))
    covariance[np.ix_(solved.free, solved.free)] = change @ change.T
    return covariance
