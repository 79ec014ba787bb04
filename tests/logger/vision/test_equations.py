from __future__ import annotations

import numpy as np
import pytest

from logger.vision.equations import BOAT_COUNT, assembled


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
