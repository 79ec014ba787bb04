"""How a boat moves along its way: m(1+k1)·dv/dt = thrust − (a·v + b·v²).

Coasting, also in a steady light wind, has a closed form (separation of variables); with thrust that builds up and
breathes it is integrated. Units: mm, s, g, so forces are in g·mm/s² (nanonewtons).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

Floats = NDArray[np.float64]
Stage: TypeAlias = Callable[[Floats], Floats]
"""Gives (2, N), way mm and speed mm/s, at times (N,) s after go."""
_LONGEST_COAST_S = 600.0


def added_mass_fraction(*, length_mm: float, width_mm: float) -> float:
    """Water that moves along with a boat in surge, as a fraction of its mass.

    As for a prolate spheroid of the same length over width (>= 1), wholly in water: k1 = α/(2 − α) with
    α = 2·(1 − e²)/e³·(artanh e − e) and e² = 1 − (width/length)² (Lamb, Hydrodynamics, 6th ed., art. 114).
    """
    e2 = 1.0 - (width_mm / length_mm) ** 2
    e = math.sqrt(e2)
    # near a sphere the difference is lost in rounding; its series begins e³/3 + e⁵/5
    shape = (math.atanh(e) - e) / e**3 if e2 > 1e-4 else 1 / 3 + e2 / 5
    alpha = 2.0 * (1.0 - e2) * shape
    return alpha / (2.0 - alpha)


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

    def creep_mm_per_s(self, wind_g_mm_per_s2: float) -> float:
        """The speed at which a steady push of that force ends: a·v + b·v² = push."""
        a, b = self.a_g_per_s, self.b_g_per_mm
        return 2.0 * wind_g_mm_per_s2 / (a + math.sqrt(a * a + 4.0 * b * wind_g_mm_per_s2))

    def _fading(self, t_s: ArrayLike, from_mm_per_s: float, creep: float) -> tuple[Floats, float, float]:
        """What dies away exponentially, u = (v − v1)/(v + v2), at `t_s` and at 0; v1 is the creep, v2 = v1 + a/b."""
        v2 = creep + self.a_g_per_s / self.b_g_per_mm
        first = (from_mm_per_s - creep) / (from_mm_per_s + v2)
        rate = self.b_g_per_mm / self.mass_g * (creep + v2)
        return first * np.exp(-rate * np.asarray(t_s, np.float64)), first, v2

    def coast_speed(self, t_s: ArrayLike, *, from_mm_per_s: float, wind_g_mm_per_s2: float = 0.0) -> Floats:
        """Speed after `t_s` without thrust: (v1 + v2·u)/(1 − u)."""
        creep = self.creep_mm_per_s(wind_g_mm_per_s2)
        u, _, v2 = self._fading(t_s, from_mm_per_s, creep)
        speed: Floats = (creep + v2 * u) / (1.0 - u)
        return speed

    def coast_distance(self, t_s: ArrayLike, *, from_mm_per_s: float, wind_g_mm_per_s2: float = 0.0) -> Floats:
        """Way made in `t_s` without thrust: v1·t + (m/b)·ln((1 − u)/(1 − u0))."""
        creep = self.creep_mm_per_s(wind_g_mm_per_s2)
        u, first, _ = self._fading(t_s, from_mm_per_s, creep)
        way: Floats = creep * np.asarray(t_s, np.float64) + self.mass_g / self.b_g_per_mm * np.log(
            (1.0 - u) / (1.0 - first)
        )
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


@dataclass(frozen=True, slots=True)
class Push:
    """A short push along the way: it swells and fades as (1 − cos) over its length."""

    at_s: float
    """When it begins, after go."""
    lasts_s: float
    gives_mm_per_s: float
    """Change of speed that it would make of a boat on which nothing else acts: its impulse over the mass."""

    @property
    def until_s(self) -> float:
        """When it ends, after go."""
        return self.at_s + self.lasts_s

    def at(self, t_s: float) -> float:
        """Force over mass `t_s` after go, mm/s²."""
        share = (t_s - self.at_s) / self.lasts_s
        if not 0.0 < share < 1.0:
            return 0.0
        return self.gives_mm_per_s / self.lasts_s * (1.0 - math.cos(2.0 * math.pi * share))


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Way and speed along the path at any time, in stages that follow each other."""

    begins_s: tuple[float, ...]
    """Time after go at which each stage begins; the first at 0. Before it the boat stands."""
    stages: tuple[Stage, ...]

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


@dataclass(frozen=True, slots=True)
class Way:
    """What happens along the way."""

    cut_at_mm: float | None
    """Way at which somebody takes the thrust away; None: it drives until the wall."""
    cut_late_s: float
    """How long after that it really ends."""
    wall_at_mm: float
    """Way at which the bow touches the end wall; the thrust ends there too."""
    restitution: float
    """Speed after over speed before the wall, 0 to 1."""
    wind_g_mm_per_s2: float = 0.0
    """What still pushes a coasting boat, until it meets the wall."""


def run(drag: Drag, thrust: Thrust, way: Way, *, until_s: float, push: Push | None = None) -> Motion:
    """The motion of one run: driven from go (time 0), coasting after the cut, thrown back at the wall.

    Args:
        drag: what resists.
        thrust: what drives, from go on.
        way: where the thrust ends and where the wall is.
        until_s: how far in time the driven part is followed.
        push: what somebody does to it; not after it has met the wall.
    """
    drive = thrust.at if push is None else lambda t: thrust.at(t) + drag.mass_g * push.at(t)
    begins: list[float] = [0.0]
    stages: list[Stage] = []
    cut_mm = math.inf if way.cut_at_mm is None else way.cut_at_mm
    t_s, state, arrived = _driven(
        stages, drag, drive, 0.0, [0.0, 0.0], min(cut_mm, way.wall_at_mm), until_s, push
    )  # fmt: skip
    if arrived and cut_mm < way.wall_at_mm and way.cut_late_s:
        begins.append(t_s)
        t_s, state, _ = _driven(stages, drag, drive, t_s, state, way.wall_at_mm, t_s + way.cut_late_s, push)
    if arrived:
        if push is not None and t_s < push.until_s and state[0] < way.wall_at_mm - 1e-9:
            t_s, state = _pushed(begins, stages, drag, t_s, state, way, push)
        _coast(begins, stages, drag, t_s, state, way)
    return Motion(tuple(begins), tuple(stages))


def _driven(
    stages: list[Stage], drag: Drag, drive: Callable[[float], float], t_s: float, state: list[float], to_mm: float,
    until_s: float, push: Push | None,
) -> tuple[float, list[float], bool]:  # fmt: skip
    """Append the stage with a driving force from `t_s` until `to_mm` or `until_s`: its end, and whether it arrived."""

    def change(t: float, now: Floats) -> list[float]:
        return [now[1], (drive(t) - float(drag.force(now[1]))) / drag.mass_g]

    def ahead(_t: float, now: Floats) -> float:
        return float(now[0] - to_mm)

    ahead.terminal = True  # type: ignore[attr-defined]
    step_s = 0.25 if push is None else push.lasts_s / 8
    solved = solve_ivp(
        change, (t_s, until_s), state, method="DOP853", rtol=1e-10, atol=1e-9, max_step=step_s,
        dense_output=True, events=ahead,
    )  # fmt: skip
    stages.append(cast("Stage", solved.sol))
    return float(solved.t[-1]), [float(value) for value in solved.y[:, -1]], solved.status == 1


def _pushed(
    begins: list[float], stages: list[Stage], drag: Drag, t_s: float, state: list[float], way: Way, push: Push
) -> tuple[float, list[float]]:
    """Append the coast up to the push and the push itself, unless the wall comes first: time and state after them."""
    wind = way.wind_g_mm_per_s2
    if push.at_s > t_s:
        spent = push.at_s - t_s
        far = float(drag.coast_distance(spent, from_mm_per_s=state[1], wind_g_mm_per_s2=wind))
        if state[0] + far >= way.wall_at_mm:
            return t_s, state
        begins.append(t_s)
        stages.append(_coasting(drag, t_s, state[0], state[1], +1, wind))
        slower = float(drag.coast_speed(spent, from_mm_per_s=state[1], wind_g_mm_per_s2=wind))
        t_s, state = push.at_s, [state[0] + far, slower]
    begins.append(t_s)
    t_s, state, _ = _driven(
        stages, drag, lambda t: wind + drag.mass_g * push.at(t), t_s, state, way.wall_at_mm, push.until_s, push
    )
    return t_s, state


def _coast(begins: list[float], stages: list[Stage], drag: Drag, t_s: float, state: list[float], way: Way) -> None:
    """Append the stages without thrust: on to the wall, and back from it."""
    place, speed, wall = state[0], state[1], way.wall_at_mm
    if place < wall - 1e-9:
        begins.append(t_s)
        stages.append(_coasting(drag, t_s, place, speed, +1, way.wind_g_mm_per_s2))

        def past(spent_s: float) -> float:
            far = drag.coast_distance(spent_s, from_mm_per_s=speed, wind_g_mm_per_s2=way.wind_g_mm_per_s2)
            return float(place + far - wall)

        if past(_LONGEST_COAST_S) <= 0.0:
            return
        spent = float(brentq(past, 0.0, _LONGEST_COAST_S, xtol=1e-13))
        t_s += spent
        speed = float(drag.coast_speed(spent, from_mm_per_s=speed, wind_g_mm_per_s2=way.wind_g_mm_per_s2))
    begins.append(t_s)
    stages.append(_coasting(drag, t_s, wall, way.restitution * speed, -1, 0.0))


def _coasting(drag: Drag, since_s: float, place_mm: float, speed: float, sign: int, wind: float) -> Stage:
    def form(t_s: Floats) -> Floats:
        way = drag.coast_distance(t_s - since_s, from_mm_per_s=speed, wind_g_mm_per_s2=wind)
        now = drag.coast_speed(t_s - since_s, from_mm_per_s=speed, wind_g_mm_per_s2=wind)
        return np.stack([place_mm + sign * way, sign * now])

    return form
