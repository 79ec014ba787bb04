"""The coast's closed forms and fits: against an ODE solver, and NIST's certified fits of the very same model."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from logger.results import coast

TIME = np.linspace(0.05, 9.0, 60)
FORMS = {
    "linear": (coast.linear_way, [300.0, 0.13333]),
    "quadratic": (coast.quadratic_way, [300.0, 0.001]),
    "combined": (coast.combined_way, [300.0, 0.13333, 0.001]),
}


def terms(law: str, p: Any) -> tuple[float, float]:
    return {"linear": (p[-1], 0.0), "quadratic": (0.0, p[-1]), "combined": (p[1], p[-1])}[law]


@pytest.mark.parametrize("law", FORMS)
def test_closed_forms_solve_their_equation(law: str) -> None:
    """DOP853 (scipy.integrate.solve_ivp) on dv/dt = −(αv + βv²)."""
    form, p = FORMS[law]
    a, b = terms(law, p)
    solved = solve_ivp(
        lambda _t, s: [s[1], -(a * s[1] + b * s[1] ** 2)], (0, 9), [0, p[0]],
        method="DOP853", t_eval=TIME, rtol=1e-12, atol=1e-10,
    )  # fmt: skip
    assert form(TIME, np.array(p))[0] == pytest.approx(solved.y[0], rel=1e-9)


@pytest.mark.parametrize("law", FORMS)
def test_derivatives_are_those_of_differences(law: str) -> None:
    form, p = FORMS[law]
    _, by = form(TIME, np.array(p))
    for i, value in enumerate(p):
        step = np.zeros(len(p))
        step[i] = 1e-5 * value
        ahead, behind = form(TIME, np.array(p) + step)[0], form(TIME, np.array(p) - step)[0]
        assert by[:, i] == pytest.approx((ahead - behind) / (2e-5 * value), rel=1e-6, abs=1e-6)


def test_a_worked_coast() -> None:
    """m 0.150 kg, a 0.020, b 0.150, 0.30 m/s: 1.038893 m after 12.518679 s (closed form, equal to DOP853 to 4e-14)."""
    way, _ = coast.combined_way(np.array([12.518679]), np.array([0.30, 0.020 / 0.150, 0.150 / 0.150]))
    assert way[0] == pytest.approx(1.038893, abs=1e-6)


# NIST Statistical Reference Datasets, nonlinear regression; y = b1(1 − exp(−b2·x)), which is the coast with linear drag
MISRA1A = np.array(
    [[77.6, 10.07], [114.9, 14.73], [141.1, 17.94], [190.8, 23.93], [239.9, 29.61], [289.0, 35.18], [332.8, 40.02],
     [378.4, 44.82], [434.8, 50.76], [477.3, 55.05], [536.8, 61.01], [593.1, 66.40], [689.1, 75.47], [760.0, 81.78]]
)  # fmt: skip
BOXBOD = np.array([[1.0, 109.0], [2.0, 149.0], [3.0, 149.0], [5.0, 191.0], [7.0, 213.0], [10.0, 224.0]])


def nist_form(x: Any, p: Any) -> Any:
    """b1 = v0/α, b2 = α, through our own linear way."""
    way, by = coast.linear_way(x, np.array([p[0] * p[1], p[1]]))
    return way, np.column_stack([by[:, 0] * p[1], by[:, 0] * p[0] + by[:, 1]])


@pytest.mark.parametrize(
    ("data", "start", "b1", "u1", "b2", "u2", "sd"),
    [
        (MISRA1A, (500, 1e-4), 238.94212918, 2.7070075241, 5.5015643181e-4, 7.2668688436e-6, 0.10187876330),
        (MISRA1A, (250, 5e-4), 238.94212918, 2.7070075241, 5.5015643181e-4, 7.2668688436e-6, 0.10187876330),
        (BOXBOD, (100, 0.75), 213.80940889, 12.354515176, 0.54723748542, 0.10455993237, 17.088072423),
    ],
)
def test_nist_certified_fits(data: Any, start: Any, b1: float, u1: float, b2: float, u2: float, sd: float) -> None:
    found = coast.fit(nist_form, data[:, 0], data[:, 1], start=np.array(start, float))
    assert found.parameters == pytest.approx([b1, b2], rel=1e-9)
    assert found.u == pytest.approx([u1, u2], rel=1e-8)
    assert found.residual_sd == pytest.approx(sd, rel=1e-9)


def test_a_fit_that_runs_away_says_so_and_gives_no_number() -> None:
    """BoxBOD from NIST's first start (1, 1), from which plain Gauss-Newton ends anywhere."""
    found = coast.fit(nist_form, BOXBOD[:, 0], BOXBOD[:, 1], start=np.array([1.0, 1.0]))
    if found:
        assert found.parameters == pytest.approx([213.80940889, 0.54723748542], rel=1e-6)
    else:
        assert "coast" in found.reason


def test_two_coefficients_that_do_the_same_are_told() -> None:
    def twice(x: Any, p: Any) -> Any:
        return (p[0] + p[1]) * x, np.column_stack([x, x])

    found = coast.fit(twice, TIME, 3 * TIME, start=np.array([1.0, 1.0]))
    assert not found
    assert "apart" in found.reason


@pytest.mark.parametrize("law", FORMS)
def test_the_drag_of_a_noisy_coast_is_found_within_its_doubt(law: Any) -> None:
    form, p = FORMS[law]
    time = np.arange(0, 9, 1 / 30)
    way = form(np.maximum(time, 1e-9), np.array(p))[0] + np.random.default_rng(4).normal(0, 0.5, len(time))
    found = coast.drag(time, way, law=law, speed_mm_per_s=280.0)
    a, b = terms(law, p)
    assert abs(found.speed_mm_per_s - 300) < 3.5 * found.u_speed_mm_per_s
    assert abs(found.linear_per_s - a) <= 3.5 * found.u_linear_per_s
    assert abs(found.quadratic_per_mm - b) <= 3.5 * found.u_quadratic_per_mm
    assert found.residual_mm == pytest.approx(0.5, rel=0.15)


@pytest.mark.parametrize(
    ("time", "way", "reason"),
    [
        (np.arange(0, 1, 0.1), np.zeros(10), "did not coast"),
        (np.arange(0, 0.3, 0.1), np.array([0.0, 30.0, 59.0]), "too few"),
        (np.arange(0, 0.5, 1 / 30), 300 * np.arange(0, 0.5, 1 / 30) + np.sin(9 * np.arange(15)), "coast"),
    ],
)
def test_what_cannot_be_told_has_a_sentence(time: Any, way: Any, reason: str) -> None:
    found = coast.drag(time, way, law="combined", speed_mm_per_s=300.0)
    assert not found
    assert reason in found.reason


def test_a_draught_of_nothing_is_the_combined_law_and_its_slopes_are_those_of_small_steps() -> None:
    time, p = np.linspace(0, 8, 40), np.array([300.0, 0.3, 0.002, 1e-12])
    assert coast.drafted_way(time, p)[0] == pytest.approx(coast.combined_way(time, p[:3])[0], rel=1e-9, abs=1e-9)
    p[3] = 4.0
    _, slopes = coast.drafted_way(time, p)
    for i in range(4):
        step = np.zeros(4)
        step[i] = 1e-6 * p[i]
        central = (coast.drafted_way(time, p + step)[0] - coast.drafted_way(time, p - step)[0]) / (2 * step[i])
        assert slopes[:, i] == pytest.approx(central, rel=1e-6, abs=1e-5)


def test_with_a_draught_the_boat_ends_at_its_creep() -> None:
    """By eye: after a minute the way grows by v₁ each second, and α·v₁ + β·v₁² is what the draught pushes with."""
    way, _ = coast.drafted_way(np.array([60.0, 61.0]), np.array([300.0, 0.3, 0.002, 4.0]))
    assert way[1] - way[0] == pytest.approx(4.0, abs=1e-4)


def test_a_draught_that_is_not_thought_of_would_spoil_the_coefficients() -> None:
    time = np.arange(0, 9, 1 / 30)
    way = coast.drafted_way(time, np.array([300.0, 0.3, 0.002, 4.0]))[0]
    way = way + np.random.default_rng(4).normal(0, 0.3, len(time))
    drafted, plain = (coast.drag(time, way, law=law, speed_mm_per_s=280.0) for law in ("drafted", "combined"))
    assert abs(drafted.linear_per_s - 0.3) < 3.5 * drafted.u_linear_per_s
    assert abs(plain.linear_per_s - 0.3) > 5 * plain.u_linear_per_s


def test_a_coast_in_which_two_draughts_make_the_same_way_tells_no_coefficient() -> None:
    """Where v₁ = −v₁ − α/β the way does not change with v₁ to first order: the fit ends there, and its u is chance."""
    time = np.arange(0, 3.3, 1 / 30)
    way = coast.drafted_way(time, np.array([250.0, 0.15, 0.0023, -0.15 / (2 * 0.0023) + 1e-3]))[0]
    way = way + np.random.default_rng(4).normal(0, 0.3, len(time))
    found = coast.drag(time, way, law="drafted", speed_mm_per_s=250.0)
    assert not found
    assert "draught" in found.reason
    assert coast.drag(time, way, law="combined", speed_mm_per_s=250.0), "without a draught it is told"
