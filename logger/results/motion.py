"""Track -> motion: where the boat was, how fast, and how sure we are, at every moment.

The law: the acceleration wanders by an unknown push (white jerk, see wiener.py) that is small nearly always and large
at release, power cut and wall (see roughness.py). Given that law and the noise of each fix, the motion is the weighted
least-squares curve through all fixes, forward and backward in time at once (Rauch, Tung & Striebel 1965; solved in
chain.py). Three properties are relied upon everywhere:

- It is linear in the positions once roughness and noise are fixed. A systematic doubt (freeboard, calibration) is sent
  through the same equations, so a measure f of the motion has the contribution f(motion.shifted(s)) - f(motion).
- Its errors are correlated in time. What depends on many moments (a path, a maximum) takes its random doubt from
  `draws`, in which the errors of the whole curve hang together, never from one moment's variance alone.
- Gaps widen: without fixes the law alone carries the curve, and its covariance says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from logger.results import wiener
from logger.results.roughness import Roughness, Solved, System, estimate
from logger.vision.track import BRIDGED, DOUBTFUL, Track

Floats = NDArray[np.float64]

ORDER = 3
X, VX, AX, Y, VY, AY = range(6)
FEWEST_FIXES = 6
"""Fewer measured fixes than this make no motion."""

_DOUBTFUL_VARIANCE = 25.0
"""A fix that may be something else counts with five times its standard uncertainty."""
_BY_CHANCE = 0.8
"""A short track may scatter this much less than was said without meaning anything by it."""
_LEAST_VARIANCE_MM2 = 1e-6
_LEAST_VARIANCE_RAD2 = 1e-8
_AT_ONCE = 10
"""So many draws are held in memory together: a long run does not need more than a short one."""


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """N moments, those of the track's fixes; a state is (x, vx, ax, y, vy, ay) in mm, mm/s, mm/s², tank frame.

    The position is that of the waterline centroid, as in the track.
    """

    t_ns: NDArray[np.int64]
    state: Floats
    """(N, 6)"""
    covariance: Floats
    """(N, 6, 6), random part only, as if the boat were pushed as hard as the curve allows for: on the cautious side."""
    beside: Floats
    """(N - 1, 6, 6) covariance of each state (rows) with the one before it (columns)."""
    density: Floats
    """(N - 1,) spectral density of the jerk in each step, mm²/s⁵."""
    heading_rad: Floats
    """(N,) smoothed direction of the bow, continuous."""
    u_heading_rad: Floats
    outline_mm: Floats
    """(M, 2) convex waterline outline in the boat's frame, as in the track."""
    u_outline_mm: float
    quality: NDArray[np.uint8]
    """(N,) MEASURED, BRIDGED or DOUBTFUL, as in the track."""
    noise: float
    """How many times larger the variance of the fixes turned out than the tracker had said."""
    caution: float = 1.0
    """By how much all random variances were raised, at least 1. Fixes that scatter less than the tracker said may share
    in time what is missing (the grain of the pixels does that), and what is shared is not averaged away."""
    shifts: Mapping[str, Floats] = field(default_factory=dict)
    """Source -> (N, 6): by how much every state would move if that source were off by one standard uncertainty."""
    weight: Floats = field(default_factory=lambda: np.empty((0, 2, 2)))
    """(N, 2, 2) inverse covariance with which each fix counted; 0 where it was only bridged."""
    solved: Solved | None = None
    """The equations it comes from; None in a copy that `shifted` or `draws` made."""
    solved_heading: Solved | None = None
    """The same of the heading."""

    @property
    def time_s(self) -> Floats:
        """(N,) seconds since the first moment."""
        seconds: Floats = (self.t_ns - self.t_ns[0]) / 1e9
        return seconds

    @property
    def place_mm(self) -> Floats:
        """(N, 2)"""
        places: Floats = self.state[:, [X, Y]]
        return places

    @property
    def velocity_mm_per_s(self) -> Floats:
        """(N, 2)"""
        velocities: Floats = self.state[:, [VX, VY]]
        return velocities

    @property
    def speed_mm_per_s(self) -> Floats:
        """(N,) length of the velocity."""
        speed: Floats = np.hypot(self.state[:, VX], self.state[:, VY])
        return speed

    def states_at(self, time_s: ArrayLike) -> Floats:
        """States (k, 6) at any moments `time_s` (k,) after the first; held to the ends beyond them."""
        left, first, second, _ = self._bridge(time_s)
        between: Floats = (first @ self.state[left][:, :, None] + second @ self.state[left + 1][:, :, None])[:, :, 0]
        return between

    def covariances_at(self, time_s: ArrayLike) -> Floats:
        """Random covariances (k, 6, 6) of `states_at`."""
        left, first, second, remains = self._bridge(time_s)
        cross = second @ self.beside[left] @ np.swapaxes(first, 1, 2)
        own = first @ self.covariance[left] @ np.swapaxes(first, 1, 2)
        other = second @ self.covariance[left + 1] @ np.swapaxes(second, 1, 2)
        total: Floats = own + other + cross + np.swapaxes(cross, 1, 2) + self.density[left, None, None] * remains
        return total

    def heading_at(self, time_s: ArrayLike) -> Floats:
        """Direction of the bow (k,), rad."""
        return np.asarray(np.interp(np.atleast_1d(time_s), self.time_s, self.heading_rad), np.float64)

    def u_heading_at(self, time_s: ArrayLike) -> Floats:
        """Its standard uncertainty (k,), rad."""
        return np.asarray(np.interp(np.atleast_1d(time_s), self.time_s, self.u_heading_rad), np.float64)

    def shifted(self, source: str) -> Motion:
        """The motion as it would be if `source` were off by one standard uncertainty."""
        return replace(self, state=self.state + self.shifts[source], solved=None, solved_heading=None)

    def shifted_places_at(self, time_s: float) -> dict[str, Floats]:
        """Source -> (2,) by how much the place at a moment moves if that source is off by one standard uncertainty."""
        left, first, second, _ = self._bridge(time_s)
        k = int(left[0])
        return {
            name: np.asarray((first[0] @ shift[k] + second[0] @ shift[k + 1])[[X, Y]], np.float64)
            for name, shift in self.shifts.items()
        }

    def draws(self, count: int, seed: int) -> Iterator[Motion]:
        """`count` motions as this one may truly have been, errors of all moments together; same seed, same motions.

        Raises:
            ValueError: this motion is itself a draw or a shifted copy.
        """
        if self.solved is None or self.solved_heading is None:
            raise ValueError("draws of a draw were asked for; they come from the measured motion only")
        unit = self.caution**0.5 * _state_units(self.solved.system.step_s)[:, None]
        # a generator of its own: the headings leave the places as they are
        places, headings = np.random.default_rng(seed), np.random.default_rng([seed, 1])
        for begun in range(0, count, _AT_ONCE):
            few = min(_AT_ONCE, count - begun)
            moved = self.solved.errors(places, few) * unit
            turned = self.solved_heading.errors(headings, few)[:, 0]
            for i in range(few):
                state, heading = self.state + moved[:, :, i], self.heading_rad + turned[:, i]
                yield replace(self, state=state, heading_rad=heading, solved=None, solved_heading=None)

    def _bridge(self, time_s: ArrayLike) -> tuple[NDArray[np.int64], Floats, Floats, Floats]:
        own = self.time_s
        wanted = np.clip(np.atleast_1d(np.asarray(time_s, np.float64)), own[0], own[-1])
        left = np.clip(np.searchsorted(own, wanted, side="right") - 1, 0, len(own) - 2)
        first, second, remains = wiener.between(wanted - own[left], own[left + 1] - wanted, ORDER)
        return left, wiener.both_axes(first), wiener.both_axes(second), wiener.both_axes(remains)


def smooth(track: Track) -> Motion:
    """The motion behind a track.

    Raises:
        ValueError: fewer than FEWEST_FIXES measured fixes.
    """
    if (count := int((track.quality != BRIDGED).sum())) < FEWEST_FIXES:
        raise ValueError(f"track: {count} measured fixes; at least {FEWEST_FIXES} are wanted")
    system = _system(track.t_ns, _weights(track), ORDER)
    middle = np.array([track.x_mm.mean(), track.y_mm.mean()])
    places = np.column_stack([track.x_mm, track.y_mm]) - middle
    found = estimate(system, places)
    chain = system.chain(found.density, found.noise)
    columns = np.stack([places, *track.shifts_mm.values()], axis=-1)
    unit = _state_units(system.step_s)
    states = chain.solve(system.right(columns) / found.noise) * unit[:, None]
    states[:, [X, Y], 0] += middle
    caution = max(1.0, _BY_CHANCE / found.noise)
    cov, beside = (caution * block * unit[:, None] * unit for block in chain.covariances())
    heading, u_heading, solved_heading = _smooth_heading(track)
    return Motion(
        t_ns=track.t_ns,
        state=states[:, :, 0],
        covariance=cov,
        beside=beside,
        density=caution * found.density / system.step_s ** (2 * ORDER - 1),
        heading_rad=heading,
        u_heading_rad=u_heading,
        outline_mm=track.outline_mm,
        u_outline_mm=track.u_outline_mm,
        quality=track.quality,
        noise=found.noise,
        shifts={name: states[:, :, 1 + i] for i, name in enumerate(track.shifts_mm)},
        caution=caution,
        weight=system.weight / found.noise,
        solved=Solved(system, chain, found),
        solved_heading=solved_heading,
    )


def _smooth_heading(track: Track) -> tuple[Floats, Floats, Solved]:
    """Direction of the bow and its uncertainty, each (N,), by the same means (order 2: its rate wanders)."""
    variance = np.maximum(track.u_heading_rad**2, _LEAST_VARIANCE_RAD2) * _doubt(track)
    weight = np.where(track.quality == BRIDGED, 0.0, 1.0 / variance)
    system = _system(track.t_ns, weight[:, None, None], order=2)
    middle = float(track.heading_rad.mean())
    values = (track.heading_rad - middle)[:, None]
    found: Roughness = estimate(system, values)
    chain = system.chain(found.density, found.noise)
    states = chain.solve(system.right(values[:, :, None]) / found.noise)
    cov, _ = chain.covariances()
    return states[:, 0, 0] + middle, np.sqrt(cov[:, 0, 0]), Solved(system, chain, found)


def _system(t_ns: NDArray[np.int64], weight: Floats, order: int) -> System:
    step_s = np.diff(t_ns) / 1e9
    usual_s = float(np.median(step_s))
    return System(step_s / usual_s, weight, order, usual_s)


def _weights(track: Track) -> Floats:
    """(N, 2, 2) inverse covariance of each fix; 0 where it is only bridged."""
    noise = (track.noise_mm2 + _LEAST_VARIANCE_MM2 * np.eye(2)) * _doubt(track)[:, None, None]
    weight = np.asarray(np.linalg.inv(noise), np.float64)
    weight[track.quality == BRIDGED] = 0.0
    return weight


def _doubt(track: Track) -> Floats:
    return np.where(track.quality == DOUBTFUL, _DOUBTFUL_VARIANCE, 1.0)


def _state_units(step_s: float) -> Floats:
    """From states in steps to states in seconds: (6,)."""
    unit = step_s ** -np.arange(ORDER, dtype=np.float64)
    return np.tile(unit, 2)
