"""The normal equations of the learning fit, put together from its small blocks."""

from __future__ import annotations

import numpy as np

from logger.vision.hull import Floats

BOAT_COUNT = 8
"""How many unknowns the whole run shares."""


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
