"""The boat's motion against closed forms, a worked case and a general integrator.

The closed forms follow by separation of variables from m·dv/dt = −(a·v + b·v²). Worked case, from a separate program
(DOP853 at 1e-13): m 0.150 kg, a 0.020 kg/s, b 0.150 kg/m, v0 0.30 m/s coasts 1.178655 m in all, and takes 12.518679 s
and 1.038893 m to fall to 2 cm/s.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from logger.simulator.physics import Drag, Push, Thrust, Way, added_mass_fraction, run

CASE = Drag(mass_g=150.0, a_g_per_s=20.0, b_g_per_mm=0.150)


def test_the_worked_case_comes_out() -> None:
    time_s = CASE.coast_time(20.0, from_mm_per_s=300.0)
    assert time_s == pytest.approx(12.518679, abs=1e-6)
    assert CASE.coast_distance(time_s, from_mm_per_s=300.0) == pytest.approx(1038.893, abs=1e-3)
    assert CASE.coast_distance(1e6, from_mm_per_s=300.0) == pytest.approx(1178.655, abs=1e-3)


def test_coasting_agrees_with_a_general_integrator() -> None:
    solved = solve_ivp(
        lambda _t, s: [s[1], -(20.0 * s[1] + 0.15 * s[1] ** 2) / 150.0], (0, 20), [0, 300.0],
        method="DOP853", rtol=1e-12, atol=1e-12, t_eval=np.linspace(0, 20, 50),
    )  # fmt: skip
    np.testing.assert_allclose(CASE.coast_distance(solved.t, from_mm_per_s=300.0), solved.y[0], atol=1e-7)
    np.testing.assert_allclose(CASE.coast_speed(solved.t, from_mm_per_s=300.0), solved.y[1], atol=1e-7)


# Lamb, Hydrodynamics, art. 114-115: prolate spheroids in surge; the sphere is exactly 1/2.
@pytest.mark.parametrize(("ratio", "k1"), [(1, 0.5), (2, 0.210), (4, 0.082), (6, 0.045)])
def test_water_carried_along_is_lambs(ratio: float, k1: float) -> None:
    assert added_mass_fraction(length_mm=ratio * 60, width_mm=60) == pytest.approx(k1, abs=5e-4)


@given(st.floats(1.0, 12.0))
@example(1.00004)
@example(1.00006)
def test_water_carried_along_is_the_integral_over_all_larger_ellipsoids(ratio: float) -> None:
    """Lamb, Hydrodynamics, art. 114: α = a·b·c·∫ dλ/((a² + λ)·√((a² + λ)(b² + λ)(c² + λ))), λ from 0 on.

    Here b = c = 1 and λ = x/(1 − x), so that the range is finite.
    """
    alpha, _ = quad(
        lambda x: ratio * (1 - x) ** -2 / ((ratio**2 + x / (1 - x)) ** 1.5 * (1 + x / (1 - x))), 0, 1, epsabs=1e-12
    )
    assert added_mass_fraction(length_mm=ratio, width_mm=1.0) == pytest.approx(alpha / (2 - alpha), rel=1e-7)


def steady(speed: float, rise_s: float = 0.2) -> Thrust:
    return Thrust(float(CASE.force(speed)), rise_s)


def a_way(cut_at_mm: float | None = 300.0, *, wall_at_mm: float = 1e5, **more: float) -> Way:
    return Way(cut_at_mm, more.get("late_s", 0.0), wall_at_mm, more.get("restitution", 0.0), more.get("wind", 0.0))


def test_a_steady_thrust_ends_in_the_speed_whose_drag_balances_it() -> None:
    motion = run(CASE, steady(250.0), a_way(None), until_s=60.0)
    assert motion.at([55.0])[1, 0] == pytest.approx(250.0, abs=0.01)


@given(
    speed=st.floats(50, 500), cut=st.floats(50, 800), wall=st.floats(100, 1500), bounce=st.floats(0, 0.5),
    late=st.sampled_from([0.0, 0.2]),
)  # fmt: skip
def test_the_way_is_continuous_and_a_coasting_boat_only_loses_energy(
    speed: float, cut: float, wall: float, bounce: float, late: float
) -> None:
    way = a_way(cut, wall_at_mm=wall, restitution=bounce, late_s=late)
    motion = run(CASE, steady(speed), way, until_s=60.0)
    for begin in motion.begins_s[1:]:
        before, after = motion.at([begin - 1e-9, begin + 1e-9])[0]
        assert before == pytest.approx(after, abs=1e-5)
    free = np.linspace(motion.begins_s[1] + late + 1e-6, motion.begins_s[1] + 30, 400)
    place, velocity = motion.at(free)
    assert (np.diff(np.abs(velocity)) <= 1e-9).all()
    assert place.max() <= wall + 1e-6


@given(speed=st.floats(50, 500), late=st.sampled_from([0.0, 0.15]), wind=st.sampled_from([0.0, 60.0]))
def test_speed_is_the_slope_of_the_way(speed: float, late: float, wind: float) -> None:
    motion = run(CASE, steady(speed), a_way(late_s=late, wind=wind), until_s=60.0)
    times = np.linspace(0.1, 12.0, 60)
    kinks = np.abs(times[:, None] - motion.begins_s).min(axis=1) < 0.01
    times = times[~kinks]
    slope = (motion.at(times + 1e-4)[0] - motion.at(times - 1e-4)[0]) / 2e-4
    np.testing.assert_allclose(slope, motion.at(times)[1], atol=1e-3)


def test_a_late_cut_drives_the_boat_past_the_mark() -> None:
    prompt, late = (run(CASE, steady(200.0), a_way(late_s=late), until_s=60.0) for late in (0.0, 0.3))
    at_mark = prompt.begins_s[1]
    assert late.at([at_mark + 0.3])[0, 0] > prompt.at([at_mark + 0.3])[0, 0]
    assert late.at([at_mark])[0, 0] == pytest.approx(300.0, abs=1e-6)


def test_a_light_wind_keeps_the_boat_creeping_as_a_general_integrator_says() -> None:
    wind = float(CASE.force(4.0))
    assert CASE.creep_mm_per_s(wind) == pytest.approx(4.0)
    solved = solve_ivp(
        lambda _t, s: [s[1], (wind - 20.0 * s[1] - 0.15 * s[1] ** 2) / 150.0], (0, 40), [0, 300.0],
        method="DOP853", rtol=1e-12, atol=1e-12, t_eval=np.linspace(0, 40, 50),
    )  # fmt: skip
    way = CASE.coast_distance(solved.t, from_mm_per_s=300.0, wind_g_mm_per_s2=wind)
    np.testing.assert_allclose(way, solved.y[0], atol=1e-7)
    speed = CASE.coast_speed(solved.t, from_mm_per_s=300.0, wind_g_mm_per_s2=wind)
    np.testing.assert_allclose(speed, solved.y[1], atol=1e-7)


def test_before_go_the_boat_stands() -> None:
    motion = run(CASE, steady(200.0), a_way(None), until_s=10.0)
    np.testing.assert_array_equal(motion.at([-3.0, -1e-9]), 0.0)


@pytest.mark.parametrize("at_s", [0.8, 2.2, 5.0])
@pytest.mark.parametrize("gives", [80.0, -60.0])
def test_a_push_agrees_with_a_general_integrator_whenever_it_comes(at_s: float, gives: float) -> None:
    """While driven, about the cut, and while coasting; the integrator knows nothing of stages but the cut."""
    push = Push(at_s, 0.25, gives)
    wind = float(CASE.force(3.0))
    way = a_way(300.0, wind=wind)
    motion = run(CASE, steady(200.0), way, until_s=60.0, push=push)

    def force(t: float, state: np.ndarray) -> float:
        share = (t - at_s) / 0.25
        pushing = 150.0 * gives / 0.25 * 2 * np.sin(np.pi * share) ** 2 if 0 < share < 1 else 0.0
        driving = steady(200.0).at(t) if state[0] < 300.0 else wind
        return pushing + driving

    solved = solve_ivp(
        lambda t, s: [s[1], (force(t, s) - 20.0 * s[1] - 0.15 * s[1] * abs(s[1])) / 150.0], (0, 12), [0.0, 0.0],
        method="RK45", rtol=1e-9, atol=1e-9, max_step=0.002, t_eval=np.linspace(0, 12, 60),
    )  # fmt: skip
    np.testing.assert_allclose(motion.at(solved.t)[0], solved.y[0], atol=0.2)
    np.testing.assert_allclose(motion.at(solved.t)[1], solved.y[1], atol=0.3)


def test_the_impulse_of_a_push_is_what_it_gives() -> None:
    push = Push(1.0, 0.2, 50.0)
    assert quad(push.at, 1.0, 1.2)[0] == pytest.approx(50.0)
    assert push.at(0.99) == push.at(1.21) == 0.0


def test_a_boat_that_is_pushed_against_the_wall_bounces_there() -> None:
    motion = run(CASE, steady(200.0), a_way(300.0, wall_at_mm=700.0), until_s=60.0, push=Push(4.0, 0.3, 400.0))
    assert motion.at(np.linspace(0, 20, 2000))[0].max() == pytest.approx(700.0, abs=1e-6)
