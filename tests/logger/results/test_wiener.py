from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from logger.results import wiener


@pytest.mark.parametrize("order", [2, 3])
def test_step_and_scatter_are_van_loans(order: int) -> None:
    """Van Loan, IEEE Trans. Automatic Control 23:395-404 (1978): both come out of one matrix exponential."""
    h = 0.37
    law = np.diag(np.ones(order - 1), 1)
    push = np.zeros((order, order))
    push[-1, -1] = 1.0
    block = expm(np.block([[-law, push], [np.zeros((order, order)), law.T]]) * h)
    step = block[order:, order:].T
    assert np.allclose(wiener.transition(np.array([h]), order)[0], step, rtol=1e-12)
    assert np.allclose(wiener.scatter(np.array([h]), order)[0], step @ block[:order, order:], rtol=1e-12)


@pytest.mark.parametrize("order", [2, 3])
def test_scatter_and_precision_are_inverse_for_long_and_short_steps(order: int) -> None:
    h = np.array([1e-3, 0.033, 1.0, 40.0])
    unit = wiener.scatter(h, order) @ wiener.precision(h, order)
    assert np.allclose(unit, np.eye(order), atol=1e-9 * (1 / h.min()) ** (order - 1))


def test_between_two_states_lies_the_hermite_polynomial() -> None:
    """The mean at order 2 is the cubic through both places with both velocities (here t³)."""
    first, second, _ = wiener.between(np.array([0.4]), np.array([0.6]), 2)
    at = first[0] @ [0.0, 0.0] + second[0] @ [1.0, 3.0]
    assert at == pytest.approx([0.4**3, 3 * 0.4**2])


def test_a_quintic_is_kept_at_order_3() -> None:
    def state(t: float) -> list[float]:
        return [t**5 - t, 5 * t**4 - 1, 20 * t**3]

    first, second, _ = wiener.between(np.array([0.3]), np.array([0.9]), 3)
    assert first[0] @ state(1.0) + second[0] @ state(2.2) == pytest.approx(state(1.3))


@pytest.mark.parametrize("order", [2, 3])
def test_between_agrees_with_conditioning_on_the_second_state(order: int) -> None:
    """p(middle | both ends) by the rule for joint normals, written out."""
    a, b = np.array([0.5]), np.array([0.8])
    first, second, left = (m[0] for m in wiener.between(a, b, order))
    q1, q2 = wiener.scatter(a, order)[0], wiener.scatter(b, order)[0]
    f1, f2 = wiener.transition(a, order)[0], wiener.transition(b, order)[0]
    gain = q1 @ f2.T @ np.linalg.inv(f2 @ q1 @ f2.T + q2)
    assert np.allclose(second, gain)
    assert np.allclose(first, f1 - gain @ f2 @ f1)
    assert np.allclose(left, q1 - gain @ f2 @ q1)


def test_both_axes_stand_axis_by_axis() -> None:
    wide = wiener.both_axes(np.array([[[1.0, 2.0], [3.0, 4.0]]]))[0]
    assert wide.tolist() == [[1, 2, 0, 0], [3, 4, 0, 0], [0, 0, 1, 2], [0, 0, 3, 4]]
