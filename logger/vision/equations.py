"""The normal equations of the learning fit, put together from its small blocks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from logger.vision.hull import Floats

BOAT_COUNT = 8
"""How many unknowns the whole run shares."""


def blocks(
    profiles: Sequence[Floats], weight: Floats, residual: Floats, *, of: Sequence[int], by: Floats
) -> tuple[Floats, Floats]:
    """Normal matrix A (N, M, 13, 13) and right side g (N, M, 13) of each picture and ray.

    Most of the thirteen columns of a ray's Jacobian are one of a few profiles along the ray, times a number.

    Args:
        profiles: (N, M, K) each.
        weight: (N, M, K); where it is 0, what stands in the others is not looked at.
        residual: (N, M, K).
        of: for each of the 13 columns, which profile it is a multiple of.
        by: (N, M, 13) the multiple.
    """
    N, M, K = weight.shape
    known, columns, count = weight > 0, np.array(of), len(profiles)
    stack = np.empty((N, M, count, K), np.float32)
    for row, profile in enumerate(profiles):
        stack[:, :, row] = np.where(known, profile, 0.0)
    weighted = stack * weight[:, :, None].astype(np.float32)
    small = (weighted @ np.swapaxes(stack, -1, -2)).astype(np.float64)
    pull = (weighted @ np.where(known, residual, 0.0)[..., None])[..., 0]
    pairs = (count * columns[:, None] + columns).ravel()
    A = np.take(small.reshape(N, M, count * count), pairs, axis=2).reshape(N, M, len(columns), len(columns))
    A *= by[..., :, None]
    A *= by[..., None, :]
    return A, np.take(pull, columns, axis=2) * by


def solved(normal: Floats, right: Floats) -> tuple[Floats, Floats]:
    """The unknowns (n,), and the covariance (8, 8) of the boat's own, for a positive definite normal matrix (n, n)."""
    own = np.zeros((len(right), BOAT_COUNT))
    own[-BOAT_COUNT:] = np.eye(BOAT_COUNT)
    factor = cho_factor(normal, lower=True, overwrite_a=True, check_finite=False)
    found = np.asarray(cho_solve(factor, np.column_stack([right, own]), check_finite=False), np.float64)
    return found[:, 0], found[-BOAT_COUNT:, 1:]


def assembled(A: Floats, g: Floats) -> tuple[Floats, Floats]:
    """Normal matrix and right side over (3N places, M edges, M walls, the boat's own).

    Args:
        A: (N, M, 13, 13) one block per picture and ray, over place (2), heading, edge, wall, and the boat's own 8.
        g: (N, M, 13) right sides.
    """
    N, M = A.shape[:2]
    rays, own = np.arange(M), 3 * N + 2 * M
    normal, right = np.zeros((own + BOAT_COUNT,) * 2), np.zeros(own + BOAT_COUNT)
    for i in range(N):
        at = slice(3 * i, 3 * i + 3)
        normal[at, at] = A[i, :, :3, :3].sum(axis=0)
        right[at] = g[i, :, :3].sum(axis=0)
        for column, start in ((3, 3 * N), (4, 3 * N + M)):
            normal[at, start : start + M] = A[i, :, :3, column].T
            normal[start : start + M, at] = A[i, :, :3, column]
        normal[at, own:] = A[i, :, :3, 5:].sum(axis=0)
        normal[own:, at] = A[i, :, 5:, :3].sum(axis=0)
    total, pulls = A.sum(axis=0), g.sum(axis=0)
    for a, first in ((3, 3 * N), (4, 3 * N + M)):
        right[first + rays] = pulls[:, a]
        normal[first + rays, own:] = total[:, a, 5:]
        normal[own:, first + rays] = total[:, 5:, a].T
        for b, second in ((3, 3 * N), (4, 3 * N + M)):
            normal[first + rays, second + rays] = total[:, a, b]
    normal[own:, own:] = total[:, 5:, 5:].sum(axis=0)
    right[own:] = pulls[:, 5:].sum(axis=0)
    return normal, right


def stiffness(is_corner: NDArray[np.bool_]) -> Floats:
    """(M, M) matrix of the sum of squares of how far each edge point's move is from the mean of its neighbours'.

    Sides do not bend round corners: a corner, and the points beside it, stand free.
    """
    M = len(is_corner)
    here = np.arange(M)
    before, after = (here - 1) % M, (here + 1) % M
    bends = np.zeros((M, M))
    bends[here, here] = 1.0
    bends[here, before] -= 0.5
    bends[here, after] -= 0.5
    bends[is_corner | is_corner[before] | is_corner[after]] = 0.0
    product: Floats = bends.T @ bends
    return product
