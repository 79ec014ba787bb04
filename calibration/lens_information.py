"""What the pictures of a board say of the lens alone, and how well it is known from them.

Poses are eliminated from the normal matrix (Schur complement), so that what is left is the information on the lens; its
inverse times the variance of the residuals is the covariance. Corners of one picture err together (a board that is not
quite flat, blur, light from one side), so the pictures' own scores are compared with what independent corners would
give and the covariance is widened by that ratio, never narrowed (cluster-robust "sandwich" estimate: White 1980, Liang
and Zeger 1986). The lens leans towards each picture, most towards those that say most, so that their scores come out
smaller than their errors are; with a dozen pictures that would hide a tenth of the doubt. So each is first put back to
what it would be by its own weight in the fit (Bell and McCaffrey 2002, "bias reduced linearization").
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from calibration.board import BoardSeen
from calibration.lens import Floats
from calibration.lens_solve import Solved, linear

_LEAST_REST = 0.05
"""A view that alone says what nothing else does has no pull left to judge it by."""


def information(
    solved: Solved, views: Mapping[str, BoardSeen], *, also: Sequence[Floats] | None = None
) -> tuple[list[Floats], list[Floats]]:
    """For each view the residuals (2N,) and the lens's Jacobian (2N, p) with the view's own pose projected out.

    `also` holds for each view further columns (2N, q): what else fitted pixels follow.
    """
    residuals, jacobians = [], []
    for index, (view, pose) in enumerate(zip(views.values(), solved.poses, strict=True)):
        off, by_pose, by_lens = linear(solved.lens, view, pose)
        inner = by_lens[:, list(solved.free)]
        if also is not None:
            inner = np.column_stack([inner, also[index]])
        residuals.append(off)
        jacobians.append(inner - by_pose @ np.linalg.lstsq(by_pose, inner, rcond=None)[0])
    return residuals, jacobians


def covariance_of(residuals: list[Floats], jacobians: list[Floats], free: tuple[int, ...]) -> tuple[Floats, float]:
    """The covariance (9, 9) that follows from what `information` gave, and by how much it was widened, at least 1.

    It is in the order of LENS_PARAMETERS; rows of what is not `free` are 0.
    """
    stacked, off = np.concatenate(jacobians), np.concatenate(residuals)
    count = stacked.shape[1]
    freedom = len(off) - count - 6 * len(residuals)
    scale = np.sqrt(np.sum(stacked**2, axis=0))
    whole = (stacked / scale).T @ (stacked / scale)
    variance = float(off @ off) / freedom
    inverse = np.linalg.pinv(whole, rcond=1e-13, hermitian=True)
    scores = np.array([(j / scale).T @ r for j, r in zip(jacobians, residuals, strict=True)])
    curves = np.array([(j / scale).T @ (j / scale) for j in jacobians])
    widened = disagreement(curves, scores, variance)
    covariance = np.zeros((9, 9))
    covariance[np.ix_(free, free)] = inverse * variance * widened**2 / np.outer(scale, scale)
    return covariance, widened


def disagreement(curves: Floats, scores: Floats, variance: float) -> float:
    """By how much views disagree more than independent corners of `variance` (px²) would, at least 1.

    `curves` (N, p, p) is each view's part of the information, `scores` (N, p) its pull on the parameters at the best
    fit. With p unknowns whitened by the whole information, a view of the share h of it keeps (1 - h) of the variance of
    its pull.
    """
    whole = curves.sum(0)
    strength, direction = np.linalg.eigh(whole)
    known = strength > 1e-13 * strength[-1]
    whiten = direction[:, known] / np.sqrt(strength[known])
    total = 0.0
    for curve, score in zip(curves, scores, strict=True):
        rest, along = np.linalg.eigh(np.eye(int(known.sum())) - whiten.T @ curve @ whiten)
        pull = along.T @ (whiten.T @ score)
        total += float(np.sum(pull**2 / np.maximum(rest, _LEAST_REST)))
    return math.sqrt(max(1.0, total / (float(known.sum()) * variance)))
