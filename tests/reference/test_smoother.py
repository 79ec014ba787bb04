"""The two-way smoother against filterpy's Kalman filter with Rauch-Tung-Striebel pass, and against least squares.

Ours strikes out every second state of a block-tridiagonal system; theirs walks forward and back along the chain. The
same law and the same measurements must give the same means and covariances, whatever the gaps.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter
from numpy.typing import NDArray

from logger.results import wiener
from logger.results.roughness import System

Floats = NDArray[np.float64]
VAGUE = 1e5
"""Variance of the first state in filterpy, which cannot begin without one; ours begins knowing nothing."""


def world(order: int, *, gaps: tuple[int, ...]) -> tuple[System, Floats, Floats]:
    """A wandering point on unequal steps, measured with unequal noise, sometimes not at all."""
    rng = np.random.default_rng(20260101 + order)
    count = 40
    step = rng.uniform(0.6, 1.6, count - 1)
    density = rng.uniform(0.01, 0.3, count - 1)
    variance = rng.uniform(0.5, 2.0, count)
    at = np.concatenate([[0.0], np.cumsum(step)])
    values = 3.0 * np.sin(at / 6) + 0.5 * at + rng.normal(0, np.sqrt(variance))
    weight = 1.0 / variance
    weight[list(gaps)] = 0.0
    return System(step, weight[:, None, None], order, 1.0), density, values[:, None]


def by_filterpy(system: System, density: Floats, values: Floats) -> tuple[Floats, Floats]:
    order, count = system.order, len(values)
    kalman: Any = KalmanFilter(dim_x=order, dim_z=1)
    kalman.x, kalman.P = np.zeros((order, 1)), VAGUE * np.eye(order)
    kalman.H = np.eye(1, order)
    moves = wiener.transition(system.step, order)
    gains = wiener.scatter(system.step, order) * density[:, None, None]
    means, covariances = [], []
    for i in range(count):
        if i:
            kalman.predict(F=moves[i - 1], Q=gains[i - 1])
        weight = system.weight[i, 0, 0]
        kalman.update(values[i] if weight else None, R=1.0 / weight if weight else 1.0)
        means.append(kalman.x.copy())
        covariances.append(kalman.P.copy())
    nothing = np.eye(order)  # filterpy counts a law with the step that it leads to
    x, P, *_ = kalman.rts_smoother(
        np.array(means), np.array(covariances), Fs=[nothing, *moves], Qs=[nothing, *gains]
    )  # fmt: skip
    return x[:, :, 0], P


@pytest.mark.parametrize("order", [2, 3])
@pytest.mark.parametrize("gaps", [(), (7, 8), (0, 1, 20, 21, 22, 23, 39)], ids=["no gap", "a gap", "gaps at the ends"])
def test_means_and_covariances_are_those_of_filterpy(order: int, gaps: tuple[int, ...]) -> None:
    system, density, values = world(order, gaps=gaps)
    theirs, their_covariances = by_filterpy(system, density, values)
    chain = system.chain(density)
    ours = chain.solve(system.right(values[:, :, None]))[:, :, 0]
    covariances, _ = chain.covariances()
    assert ours == pytest.approx(theirs, rel=1e-3, abs=1e-3)
    assert covariances == pytest.approx(their_covariances, rel=1e-3, abs=1e-5)


def test_filterpy_would_show_a_wrong_law() -> None:
    """With the pushes' density a tenth too large the two differ by far more than the tolerance above."""
    system, density, values = world(3, gaps=(7, 8))
    theirs, _ = by_filterpy(system, density, values)
    ours = system.chain(1.1 * density).solve(system.right(values[:, :, None]))[:, :, 0]
    assert np.abs(ours - theirs).max() > 0.01


@pytest.mark.parametrize("order", [2, 3])
def test_the_elimination_solves_the_normal_equations(order: int) -> None:
    """Against one dense least-squares solution of all measurements and all pushes at once."""
    system, density, values = world(order, gaps=(5, 6, 30))
    count = len(values)
    rows, wanted = [], []
    for i in range(count):
        if weight := system.weight[i, 0, 0]:
            row = np.zeros(count * order)
            row[i * order] = np.sqrt(weight)
            rows.append(row[None])
            wanted.append(np.sqrt(weight) * values[i])
    moves = wiener.transition(system.step, order)
    gains = wiener.scatter(system.step, order) * density[:, None, None]
    for i in range(count - 1):
        white = np.linalg.inv(np.linalg.cholesky(gains[i]))
        block = np.zeros((order, count * order))
        block[:, i * order : (i + 1) * order] = -white @ moves[i]
        block[:, (i + 1) * order : (i + 2) * order] = white
        rows.append(block)
        wanted.append(np.zeros(order))
    solution, *_ = np.linalg.lstsq(np.vstack(rows), np.concatenate(wanted), rcond=None)
    ours = system.chain(density).solve(system.right(values[:, :, None]))[:, :, 0]
    assert ours == pytest.approx(solution.reshape(count, order), rel=1e-8, abs=1e-8)
