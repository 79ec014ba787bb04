"""The chain against the same equations written out as one dense matrix (numpy.linalg)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from logger.results.chain import factor


def dense(n: int, m: int, seed: int) -> tuple[Any, Any, Any]:
    rng = np.random.default_rng(seed)
    diagonal, below = np.zeros((n, m, m)), np.zeros((n - 1, m, m))
    for i in range(n):
        b = rng.normal(size=(m, m))
        diagonal[i] += b @ b.T + 0.1 * np.eye(m)
    for i in range(n - 1):
        b = rng.normal(size=(2 * m, m))
        c = b @ b.T
        diagonal[i] += c[:m, :m]
        diagonal[i + 1] += c[m:, m:]
        below[i] = c[m:, :m]
    whole = np.zeros((n * m, n * m))
    for i in range(n):
        whole[i * m : (i + 1) * m, i * m : (i + 1) * m] = diagonal[i]
    for i in range(n - 1):
        whole[(i + 1) * m : (i + 2) * m, i * m : (i + 1) * m] = below[i]
        whole[i * m : (i + 1) * m, (i + 1) * m : (i + 2) * m] = below[i].T
    return diagonal, below, whole


@pytest.mark.parametrize("n", [1, 2, 3, 4, 5, 7, 8, 9, 31])
@pytest.mark.parametrize("m", [1, 3])
def test_solution_inverse_blocks_and_determinant(n: int, m: int) -> None:
    diagonal, below, whole = dense(n, m, seed=n)
    chain = factor(diagonal, below)
    right = np.random.default_rng(0).normal(size=(n, m, 2))
    inverse = np.linalg.inv(whole)
    assert np.allclose(chain.solve(right).reshape(n * m, 2), inverse @ right.reshape(n * m, 2), rtol=1e-10, atol=1e-12)
    own, beside = chain.covariances()
    for i in range(n):
        assert np.allclose(own[i], inverse[i * m : (i + 1) * m, i * m : (i + 1) * m], atol=1e-12)
    for i in range(n - 1):
        assert np.allclose(beside[i], inverse[(i + 1) * m : (i + 2) * m, i * m : (i + 1) * m], atol=1e-12)


def test_what_is_factored_stays_as_it_was() -> None:
    diagonal, below, _ = dense(6, 2, seed=3)
    kept = diagonal.copy()
    factor(diagonal, below)
    assert np.array_equal(diagonal, kept)
