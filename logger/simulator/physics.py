"""How a boat moves along its way: m(1+k1)·dv/dt = thrust − (a·v + b·v²).

Coasting has a closed form (separation of variables); with thrust that builds up and breathes it is integrated. Units:
mm, s, g, so forces are in g·mm/s² (micronewtons).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import solve_ivp

Floats = NDArray[np.float64]

_LAMB_RATIO = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_LAMB_SURGE = (0.5, 0.210, 0.122, 0.082, 0.059, 0.045, 0.029, 0.021)


def added_mass_fraction(*, length_mm: float, width_mm: float) -> float:
    """Water that moves along with a boat in surge, as a fraction of its mass.

    Prolate spheroid of the same length over width (Lamb, Hydrodynamics, 6th ed., art. 114-115), interpolated.
    """
    return float(np.interp(length_mm / width_mm, _LAMB_RATIO, _LAMB_SURGE))


@dataclass(frozen=True, slots=True)
class Drag:
    """What resists: a·v + b·v², against a mass that counts the water carried along."""

    mass_g: float
    """Mass of the boat times (1 + k1)."""
    a_g_per_s: float
    b_g_per_mm: float

    def force(self, speed_mm_per_s: ArrayLike) -> Floats:
        """Against the motion, g·mm/s², odd in the speed."""
        v = np.asarray(speed_mm_per_s, np.float64)
        resisting: Floats = v * (self.a_g_per_s + self.b_g_per_mm * np.abs(v))
        return resisting

    def coast_speed(self, t_s: ArrayLike, *, from_mm_per_s: float) -> Floats:
        """Speed after `t_s` without thrust: a·v0·E/(a + b·v0·(1−E)), E = exp(−a·t/m)."""
        fall = np.exp(-self.a_g_per_s * np.asarray(t_s, np.float64) / self.mass_g)
        left = 1.0 - fall
        v0 = from_mm_per_s
        speed: Floats = self.a_g_per_s * v0 * fall / (self.a_g_per_s + self.b_g_per_mm * v0 * left)
        return speed

    def coast_distance(self, t_s: ArrayLike, *, from_mm_per_s: float) -> Floats:
        """Way made in `t_s` without thrust: (m/b)·ln(1 + (b·v0/a)·(1−E))."""
        left = -np.expm1(-self.a_g_per_s * np.asarray(t_s, np.float64) / self.mass_g)
        gain = self.b_g_per_mm * from_mm_per_s / self.a_g_per_s
        way: Floats = self.mass_g / self.b_g_per_mm * np.log1p(gain * left)
        return way

    def coast_time(self, to_mm_per_s: float, *, from_mm_per_s: float) -> float:
        """Time of coasting from one speed down to another: (m/a)·ln[v0(a+b·v1)/(v1(a+b·v0))]."""
        a, b, v0, v1 = self.a_g_per_s, self.b_g_per_mm, from_mm_per_s, to_mm_per_s
        return float(self.mass_g / a * np.log(v0 * (a + b * v1) / (v1 * (a + b * v0))))


@dataclass(frozen=True, slots=True)
class Thrust:
    """What drives: builds up after the start and breathes a little, as breath and fans do."""

    force_g_mm_per_s2: float
    rise_s: float
    breathing: tuple[tuple[float, float, float], ...] = ()
    """(relative amplitude, angular frequency in rad/s, phase in rad) of each slow swing."""

    def at(self, t_s: float) -> float:
        """Force `t_s` after go, g·mm/s²."""
        swing = sum(size * np.sin(rate * t_s + phase) for size, rate, phase in self.breathing)
        return float(self.force_g_mm_per_s2 * -np.expm1(-t_s / self.rise_s) * (1.0 + swing))


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Way and speed along the path at any time, in stages that follow each other."""

    begins_s: tuple[float, ...]
    """Time after go at which each stage begins; the first at 0. Before it the boat stands."""
    stages: tuple[Callable[[Floats], Floats], ...]
    """Each gives (2, N): way mm and speed mm/s at times (N,) s after go."""

    def at(self, t_s: ArrayLike) -> Floats:
        """(2, N) way made since go, mm, and signed speed along the path, mm/s."""
        times = np.atleast_1d(np.asarray(t_s, np.float64))
        answer = np.zeros((2, len(times)))
        stage = np.searchsorted(self.begins_s, times, side="right") - 1
        for number, form in enumerate(self.stages):
            mine = stage == number
            if mine.any():
                answer[:, mine] = form(times[mine])
        return answer


def run(
    drag: Drag,
    thrust: Thrust,
    *,
    cut_at_mm: float | None,
    wall_at_mm: float,
    restitution: float,
    until_s: float,
) -> Motion:
    """The motion of one run: driven from go, coasting from `cut_at_mm` (if given), thrown back at `wall_at_mm`.

    Args:
        drag: what resists.
        thrust: what drives, from go (time 0) on.
        cut_at_mm: way at which the thrust ends at once; None: it drives until the wall.
        wall_at_mm: way at which the bow touches the end wall.
        restitution: speed after over speed before the wall, 0 to 1; the thrust ends there too.
        until_s: how far in time the driven part is followed.
    """
    driven_to = wall_at_mm if cut_at_mm is None else min(cut_at_mm, wall_at_mm)

    def change(t: float, state: Floats) -> list[float]:
        return [state[1], (thrust.at(t) - float(drag.force(state[1]))) / drag.mass_g]

    def arrived(_t: float, state: Floats) -> float:
        return float(state[0] - driven_to)

    arrived.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        change, (0.0, until_s), [0.0, 0.0], method="DOP853", rtol=1e-10, atol=1e-9, max_step=0.25,
        dense_output=True, events=arrived,
    )  # fmt: skip
    begins: list[float] = [0.0]
    stages: list[Callable[[Floats], Floats]] = [cast("Callable[[Floats], Floats]", solved.sol)]
    if solved.status == 1:
        _coast(begins, stages, drag, float(solved.t[-1]), driven_to, float(solved.y[1, -1]), wall_at_mm, restitution)
    return Motion(tuple(begins), tuple(stages))


def _coast(
    begins: list[float],
    stages: list[Callable[[Floats], Floats]],
    drag: Drag,
    t_s: float,
    way_mm: float,
    speed_mm_per_s: float,
    wall_mm: float,
    restitution: float,
) -> None:
    """Append the stages without thrust: on to the wall, and back from it."""
    if way_mm < wall_mm:
        begins.append(t_s)
        stages.append(_coasting(drag, t_s, way_mm, speed_mm_per_s, +1))
        reach = drag.mass_g / drag.b_g_per_mm * np.log1p(drag.b_g_per_mm * speed_mm_per_s / drag.a_g_per_s)
        if way_mm + reach <= wall_mm:
            return
        gone = (np.expm1((wall_mm - way_mm) * drag.b_g_per_mm / drag.mass_g)) * drag.a_g_per_s
        fall = 1.0 - gone / (drag.b_g_per_mm * speed_mm_per_s)
        spent = -drag.mass_g / drag.a_g_per_s * float(np.log(fall))
        speed_mm_per_s = float(drag.coast_speed(spent, from_mm_per_s=speed_mm_per_s))
        t_s += spent
    begins.append(t_s)
    stages.append(_coasting(drag, t_s, wall_mm, restitution * speed_mm_per_s, -1))


def _coasting(drag: Drag, since_s: float, way_mm: float, speed: float, sign: int) -> Callable[[Floats], Floats]:
    def form(t_s: Floats) -> Floats:
        way = drag.coast_distance(t_s - since_s, from_mm_per_s=speed)
        now = drag.coast_speed(t_s - since_s, from_mm_per_s=speed)
        return np.stack([way_mm + sign * way, sign * now])

    return form
