"""The smoother's level of noise and roughness; the published small case; and against Kalman's recursion."""

from __future__ import annotations

import numpy as np
import pytest

from logger.results.chain import factor
from logger.results.roughness import _SMOOTHEST_STEPS, System, _expected_share, estimate


def test_a_straight_line_with_noise_is_found_smooth_and_its_noise_is_found() -> None:
    n, rng = 600, np.random.default_rng(2)
    values = np.column_stack([np.linspace(0, 300, n), np.zeros(n)]) + rng.normal(0, 0.6, (n, 2))
    system = System(np.ones(n - 1), np.tile(np.eye(2) / 0.3**2, (n, 1, 1)), 3, 1 / 30)
    found = estimate(system, values - values.mean(axis=0))
    assert found.noise == pytest.approx(4.0, rel=0.12)  # 0.6 mm where 0.3 was said


def test_a_blow_makes_its_own_moment_rough_and_leaves_the_rest() -> None:
    n, rng = 300, np.random.default_rng(3)
    t = np.arange(n) / 30
    x = np.where(t < 5, 200 * t, 1000 - 80 * (t - 5))
    values = np.column_stack([x, np.zeros(n)]) + rng.normal(0, 0.3, (n, 2))
    system = System(np.ones(n - 1), np.tile(np.eye(2) / 0.3**2, (n, 1, 1)), 3, 1 / 30)
    density = estimate(system, values - values.mean(axis=0)).density
    at_blow = density[147:153].max()
    assert at_blow > 1e4 * np.median(density[:120])
    assert at_blow > 1e4 * np.median(density[180:])
    assert at_blow > 300 * density[139:143].max()  # a quarter of a second before, nothing of it is left


def test_published_constant_velocity_case() -> None:
    """Twelve frames, two missing: white acceleration 0.5 m²/s³, noise 1 mm, a prior on the first state.

    Smoothed states from an independent derivation (batch least squares; filterpy 2.0.0 agrees to 9e-15 m).
    """
    dt, q, r = 1 / 30, 0.5, 1e-6
    z = [0.0, 0.0092, 0.0201, 0.0287, 0.0405, 0.0493, 0.0598, None, None, 0.0903, 0.0985, 0.1091]
    weight = np.array([0.0 if v is None else 1 / r for v in z])[:, None, None]
    system = System(np.ones(11), weight, 2, dt)
    # the prior enters as a measurement of place and velocity of the first state
    forward, stiff = system._laws(np.full(11, q * dt**3))
    diagonal = system.reads.T @ weight @ system.reads
    diagonal[:-1] += np.swapaxes(forward, 1, 2) @ stiff @ forward
    diagonal[1:] += stiff
    prior = np.diag([1 / 1e-4, 1 / (0.25 * dt**2)])
    diagonal[0] += prior
    right = system.right(np.array([0.0 if v is None else v for v in z])[:, None, None])
    right[0, :, 0] += prior @ [0.0, 0.3 * dt]
    chain = factor(diagonal, -stiff @ forward)
    states = chain.solve(right)[:, :, 0] * [1, 1 / dt]
    sd = np.sqrt(chain.covariances()[0][:, [0, 1], [0, 1]]) * [1, 1 / dt]
    assert states[0] == pytest.approx([-8.075333947658422e-05, 0.27954208242418055], abs=1e-12)
    assert states[7] == pytest.approx([0.0703315997193614, 0.31557798384722396], abs=1e-12)
    assert states[11] == pytest.approx([0.10897047812298166, 0.3160628706073937], abs=1e-12)
    assert sd[0] == pytest.approx([0.0009658525201886971, 0.08419859336860185], rel=1e-9)
    assert sd[7] == pytest.approx([0.0021039201750807784, 0.0676578118987126], rel=1e-9)  # a gap widens


def test_the_chain_keeps_its_digits_on_the_smoothest_curve() -> None:
    """Against a dense solution in extended precision."""
    n = 40
    system = System(np.ones(n - 1), np.full((n, 1, 1), 1.0), 3, 1.0)
    density = np.full(n - 1, _SMOOTHEST_STEPS**-6)
    values = np.cumsum(np.random.default_rng(5).normal(size=n))[:, None, None]
    ours = system.chain(density).solve(system.right(values))[:, 0, 0]
    smooth = np.linalg.pinv(_polynomials(n)) @ values[:, 0, 0]
    # a curve that stiff is nearly the parabola through all points
    assert np.abs(ours - _polynomials(n) @ smooth).max() < 0.2 * np.abs(values).max()
    whole = _dense(system, density)
    exact = _solved_long(whole, system.right(values).reshape(-1))
    assert np.abs(ours - exact.reshape(n, 3)[:, 0]).max() < 1e-3  # of the noise


def _polynomials(n: int) -> np.ndarray:
    t = np.linspace(-1, 1, n)
    return np.column_stack([np.ones(n), t, t * t])


def _dense(system: System, density: np.ndarray) -> np.ndarray:
    forward, stiff = system._laws(density)
    n, m = len(density) + 1, system.size
    whole = np.zeros((n * m, n * m))
    for i in range(n):
        whole[i * m, i * m] += system.weight[i, 0, 0]
    for i in range(n - 1):
        pull = np.hstack([-forward[i], np.eye(m)])
        whole[i * m : (i + 2) * m, i * m : (i + 2) * m] += pull.T @ stiff[i] @ pull
    return whole


def _solved_long(matrix: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Solution refined with residuals in long double until nothing changes."""
    inverse = np.linalg.inv(matrix)
    wide, answer = matrix.astype(np.longdouble), np.zeros(len(right), np.longdouble)
    for _ in range(30):
        answer = answer + inverse @ (right - wide @ answer).astype(np.float64)
    return answer.astype(np.float64)


def test_a_roughness_that_few_pushes_told_is_expected_to_be_larger_than_the_one_that_fits_best() -> None:
    """The mean of the scaled inverse chi-square law with 5 degrees of freedom is 5/3 of its scale, with 52 about 1."""
    assert _expected_share(np.array([3.0, 50.0])) == pytest.approx([5 / 3, 1.04])
    assert _expected_share(np.array([0.0, 0.5])).max() <= 3.0, "and never beyond the margin that the curve has"
