"""The simulated boat's physics against published coefficients and an independent solution of its equation.

What makes test data must itself be right, or every accuracy that is measured with it means nothing.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from logger.simulator.physics import Drag, added_mass_fraction


def surge(ratio: float) -> float:
    return added_mass_fraction(length_mm=ratio * 50, width_mm=50)


CALLS: dict[str, Callable[[], float]] = {
    "added_mass.k1_LB2": lambda: surge(2),
    "added_mass.k1_LB3": lambda: surge(3),
    "added_mass.k1_LB4": lambda: surge(4),
    "added_mass.k1_LB5": lambda: surge(5),
    "added_mass.k1_LB6": lambda: surge(6),
    "added_mass.k1_LB8": lambda: surge(8),
    "added_mass.k1_LB10": lambda: surge(10),
}


@pytest.mark.parametrize("name", CALLS)
def test_added_mass_is_as_published(name: str, agrees: Callable[[str, float], None]) -> None:
    agrees(name, CALLS[name]())


# kg, kg/s, kg/m, m/s -> g, g/s, g/mm, mm/s
CASES = [
    Drag(mass_g=150.0, a_g_per_s=20.0, b_g_per_mm=0.150),
    Drag(mass_g=300.0, a_g_per_s=20.0, b_g_per_mm=0.150),
    Drag(mass_g=30.0, a_g_per_s=8.0, b_g_per_mm=0.040),
    Drag(mass_g=12.0, a_g_per_s=0.9, b_g_per_mm=0.110),
]


@pytest.mark.parametrize("drag", CASES, ids=lambda d: f"{d.mass_g:.0f} g")
@pytest.mark.parametrize("from_mm_per_s", [80.0, 300.0, 900.0])
def test_coasting_is_the_solution_of_its_equation(drag: Drag, from_mm_per_s: float) -> None:
    """m·dv/dt = −(a·v + b·v²), solved by SciPy's eighth-order Runge-Kutta (DOP853)."""
    times = np.linspace(0, 20, 21)
    solved = solve_ivp(
        lambda _, s: [s[1], -(drag.a_g_per_s * s[1] + drag.b_g_per_mm * s[1] ** 2) / drag.mass_g],
        (0, 20), [0.0, from_mm_per_s], method="DOP853", rtol=1e-12, atol=1e-9, t_eval=times,
    )  # fmt: skip
    assert drag.coast_distance(times, from_mm_per_s=from_mm_per_s) == pytest.approx(solved.y[0], rel=1e-9, abs=1e-6)
    assert drag.coast_speed(times, from_mm_per_s=from_mm_per_s) == pytest.approx(solved.y[1], rel=1e-8, abs=1e-6)


def test_a_coast_of_150_g_from_300_mm_per_s_comes_out_as_worked_by_hand() -> None:
    """From 0.30 to 0.02 m/s with m 0.150 kg, a 0.020 kg/s, b 0.150 kg/m: 1.038893 m in 12.518679 s; 1.178655 m in all.

    Separation of variables gives t = (m/a)·ln[v0(a + b·v1)/(v1(a + b·v0))] and x = (m/b)·ln[(a + b·v0)/(a + b·v1)].
    """
    drag = CASES[0]
    spent_s = drag.coast_time(20.0, from_mm_per_s=300.0)
    assert spent_s == pytest.approx(12.518679, abs=1e-6)
    assert float(drag.coast_distance(spent_s, from_mm_per_s=300.0)) == pytest.approx(1038.893, abs=1e-3)
    assert float(drag.coast_distance(1e6, from_mm_per_s=300.0)) == pytest.approx(1178.655, abs=1e-3)


def test_twice_the_mass_with_the_same_drag_coasts_twice_as_far() -> None:
    light, heavy = CASES[0], CASES[1]
    for drag, factor in ((light, 1), (heavy, 2)):
        spent_s = drag.coast_time(20.0, from_mm_per_s=300.0)
        assert float(drag.coast_distance(spent_s, from_mm_per_s=300.0)) == pytest.approx(factor * 1038.893, rel=1e-6)
