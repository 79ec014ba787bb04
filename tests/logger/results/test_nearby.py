"""The speed at a moment from the fixes around it: its covariance, its least squares, and its honesty."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from logger.results import nearby
from logger.results.nearby import Near, read


def near(way: np.ndarray, time_s: np.ndarray, u_mm: float = 0.3) -> Near:
    return Near(time_s, np.column_stack([way]), np.full(len(time_s), u_mm))


def test_the_covariance_of_three_sums_of_white_noise_is_its_integral() -> None:
    t = np.array([-0.5, -0.2, 0.1, 0.4])
    ours = nearby._wandering(t)
    for i, s in enumerate(t):
        for k, u in enumerate(t):
            if s * u < 0:
                assert ours[i, k] == 0
                continue
            near_s, far_s = sorted((abs(s), abs(u)))
            whole, _ = quad(lambda x, a, b: (a - x) ** 2 * (b - x) ** 2 / 4, 0, near_s, args=(near_s, far_s))
            assert ours[i, k] == pytest.approx(whole, rel=1e-9)


def test_of_the_best_density_alone_it_is_generalised_least_squares(monkeypatch: pytest.MonkeyPatch) -> None:
    """Written out with the whole covariance matrix: β = (XᵀV⁻¹X)⁻¹XᵀV⁻¹y."""
    t = np.linspace(-0.6, 0.6, 37)
    y = 200 * t + np.random.default_rng(3).normal(0, 0.3, len(t))
    monkeypatch.setattr(nearby, "_DENSITIES", np.array([1000.0]))
    found = read(near(y, t), speed_mm_per_s=200.0, power_cut=False)
    stiff = np.linalg.inv(1000.0 * nearby._wandering(t) + 0.09 * np.eye(len(t)))
    form = np.column_stack([np.ones_like(t), t, t * t / 2])
    covariance = np.linalg.inv(form.T @ stiff @ form)
    assert found.speed_mm_per_s == pytest.approx((covariance @ form.T @ stiff @ y)[1], rel=1e-9)
    assert found.u_mm_per_s == pytest.approx(covariance[1, 1] ** 0.5, rel=1e-9)


@pytest.mark.parametrize(("density", "least"), [(0.0, 0.2), (3e2, 0.7), (3e4, 0.7)])
def test_its_doubt_holds_whatever_the_boat_is_like(density: float, least: float) -> None:
    """Ways drawn from its own law at a density that it is not told: error over doubt has a mean square of 1.

    Less where there is no wandering at all: that noise hides none is more than the fixes can say.
    """
    t, rng = np.linspace(-0.6, 0.6, 37), np.random.default_rng(5)
    law = np.linalg.cholesky(nearby._wandering(t) + 1e-12 * np.eye(len(t)))
    z = []
    for _ in range(300):
        wander = np.sqrt(density) * law @ rng.normal(size=len(t))
        found = read(near(200 * t + wander + rng.normal(0, 0.3, len(t)), t), speed_mm_per_s=200.0, power_cut=False)
        z.append((found.speed_mm_per_s - 200) / found.u_mm_per_s)
    assert least < np.mean(np.square(z)) < 1.3
    assert np.mean(np.abs(z) < 1.96) > 0.915


@pytest.mark.parametrize(("linear", "quadratic"), [(0.8, 0.0), (0.0, 0.004)])
def test_a_coast_under_either_law_of_drag_is_read_without_bias(linear: float, quadratic: float) -> None:
    t, v = np.linspace(-0.9, 0.9, 55), 250.0
    after = np.maximum(t, 0)
    coast = v / linear * -np.expm1(-linear * after) if linear else np.log1p(quadratic * v * after) / quadratic
    rng = np.random.default_rng(7)
    found = [
        read(near(np.minimum(t, 0) * v + coast + rng.normal(0, 0.1, len(t)), t, 0.1), speed_mm_per_s=v, power_cut=True)
        for _ in range(60)
    ]
    z = np.array([(f.speed_mm_per_s - v) / f.u_mm_per_s for f in found])
    assert abs(z.mean()) < 0.9
    assert np.mean(z**2) < 1.5


def test_a_source_that_moves_all_fixes_alike_moves_no_speed_and_a_scale_moves_it_in_full() -> None:
    t = np.linspace(-0.6, 0.6, 37)
    columns = np.column_stack([200 * t, np.ones_like(t), 2 * t])
    found = read(Near(t, columns, np.full(len(t), 0.3)), speed_mm_per_s=200.0, power_cut=False)
    assert found.moved_mm_per_s == pytest.approx([0.0, 2.0], abs=1e-6)
