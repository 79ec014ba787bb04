from __future__ import annotations

import numpy as np
import pytest

from logger.vision.equations import BOAT_COUNT, assembled, blocks, solved, stiffness


def test_blocks_add_up_to_the_normal_equations_of_the_whole_jacobian() -> None:
    """Against the plain product JᵀJ of a full Jacobian, column by column."""
    N, M, K = 3, 4, 6
    rng = np.random.default_rng(2)
    J, r = rng.normal(size=(N, M, K, 13)), rng.normal(size=(N, M, K))
    whole = np.zeros((N, M, K, 3 * N + 2 * M + BOAT_COUNT))
    for i in range(N):
        for m in range(M):
            whole[i, m, :, 3 * i : 3 * i + 3] = J[i, m, :, :3]
            whole[i, m, :, 3 * N + m] = J[i, m, :, 3]
            whole[i, m, :, 3 * N + M + m] = J[i, m, :, 4]
            whole[i, m, :, 3 * N + 2 * M :] = J[i, m, :, 5:]
    flat = whole.reshape(-1, whole.shape[-1])
    normal, right = assembled(np.swapaxes(J, -1, -2) @ J, (J * r[..., None]).sum(axis=2))
    assert normal == pytest.approx(flat.T @ flat)
    assert right == pytest.approx(flat.T @ r.ravel())


def test_blocks_of_profiles_are_those_of_the_whole_jacobian() -> None:
    N, M, K = 3, 4, 6
    rng = np.random.default_rng(3)
    profiles, of, by = (
        rng.normal(size=(4, N, M, K)),
        [0, 0, 1, 1, 2, 3, 3, 0, 1, 2, 3, 0, 1],
        rng.normal(size=(N, M, 13)),
    )
    weight, residual = rng.uniform(1, 2, (N, M, K)), rng.normal(size=(N, M, K))
    weight[0, 0, 2], profiles[1, 0, 0, 2], residual[0, 0, 2] = 0.0, np.nan, np.nan
    J = np.nan_to_num(np.stack([profiles[p] * by[..., a, None] for a, p in enumerate(of)], axis=-1))
    normal, g = blocks(list(profiles), weight, residual, of=of, by=by)
    assert normal == pytest.approx(np.einsum("nmk,nmka,nmkb->nmab", weight, J, J), rel=1e-5, abs=1e-5)
    assert g == pytest.approx(np.einsum("nmk,nmka,nmk->nma", weight, J, np.nan_to_num(residual)), rel=1e-5, abs=1e-5)


def test_solved_is_the_inverse_of_the_normal_matrix() -> None:
    rng = np.random.default_rng(4)
    J, right = rng.normal(size=(40, 20)), rng.normal(size=20)
    inverse = np.linalg.inv(J.T @ J)
    found, covariance = solved(J.T @ J, right)
    assert found == pytest.approx(inverse @ right)
    assert covariance == pytest.approx(inverse[-BOAT_COUNT:, -BOAT_COUNT:])


def test_a_side_may_move_and_turn_at_no_cost_but_not_become_ragged() -> None:
    is_corner = np.zeros(16, bool)
    is_corner[[0, 8]] = True
    stiff = stiffness(is_corner)
    turned = np.where(np.arange(16) < 8, np.arange(16.0), -3.0)
    assert turned @ stiff @ turned == pytest.approx(0, abs=1e-12)
    ragged = np.zeros(16)
    ragged[4] = 1.0
    assert ragged @ stiff @ ragged == pytest.approx(1.5)
    sharper = np.zeros(16)
    sharper[8] = 1.0
    assert sharper @ stiff @ sharper == pytest.approx(0)


def test_a_round_side_is_stiff_all_round() -> None:
    ragged = np.zeros(12)
    ragged[0] = 1.0
    assert ragged @ stiffness(np.zeros(12, bool)) @ ragged == pytest.approx(1.5)
