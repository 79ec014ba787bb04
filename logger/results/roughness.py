"""How rough a motion is, moment by moment, told from the data alone.

A boat is smooth nearly always and abrupt a few times: release, power cut, wall. One roughness for the whole run would
blur the abrupt moments or leave the noise in the smooth ones. So the spectral density of the unknown push is
q = long x short: `long` changes slowly (half a second to either side), `short` stays near 1 and jumps where the data
insist.

Both are raised or lowered until the pushes found by the smoother are as large as they should be: the sum of squared
normalised pushes must equal the number of pushes that the data determine (MacKay, Neural Computation 4:415-447, 1992,
eq. 4.9; the same fixed point as marginal maximum likelihood). The level of the noise is found in the same way from the
residuals. A few imagined pushes (`_PRIOR...`) keep the estimate calm where the data say little; some of them are of the
size that is usual within 1.5 s, lest a stretch that happens to look straight be taken for perfectly straight.

Intervals about a smooth curve are honest only if the curve is a little rougher than the data's favourite, since a
likely smoothness has already taken its bias into account but not its own doubt (Hall & Horowitz, Annals of Statistics
41:1892-1921, 2013, on undersmoothing). `_MARGIN` and the widening by `_NEIGHBOURS` do this. How far such a curve may be
off is then a matter of the noise and of the pushes that were found, not of those it was loosened for (`Solved.errors`).
The coverage bench holds both to account.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from logger.results import wiener
from logger.results.chain import Chain, factor

Floats = NDArray[np.float64]

_ROUNDS = 15
_ROUNDS_BEFORE_SHORT = 5
_PRIOR_LONG = 6.0
_PRIOR_WIDE = 2.0
_PRIOR_SHORT = 0.3
_PRIOR_NOISE = 20.0
_LONG_REACH_S = 0.5
_WIDE_REACH_S = 1.5
_NEIGHBOURS = 1
_MARGIN = 3.0
_SMOOTHEST_STEPS = 18.0
"""A curve that is stiff over more steps than this would cost the solution its digits and win nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class System:
    """Measurements on a chain of states, time in units of the usual step."""

    step: Floats
    """(n - 1,) from each state to the next."""
    weight: Floats
    """(n, axes, axes) inverse covariance of each measurement; 0 where there is none."""
    order: int
    """States per axis: position, velocity, and acceleration if it is 3."""
    step_s: float
    """Length of the usual step."""

    @property
    def axes(self) -> int:
        """How many coordinates were measured."""
        return int(self.weight.shape[-1])

    @property
    def size(self) -> int:
        """Numbers in one state."""
        return self.axes * self.order

    @property
    def reads(self) -> Floats:
        """(axes, size) picks the measured coordinates out of a state."""
        matrix = np.zeros((self.axes, self.size))
        matrix[np.arange(self.axes), np.arange(self.axes) * self.order] = 1.0
        return matrix

    def right(self, values: Floats) -> Floats:
        """Right-hand sides (n, size, c) for measurements `values` (n, axes, c)."""
        side: Floats = self.reads.T @ (self.weight @ values)
        return side

    def chain(self, density: Floats, noise: float = 1.0) -> Chain:
        """The factored equations for pushes of `density` (n - 1,) and noise `noise` times that of the weights."""
        forward, stiff = self._laws(density)
        diagonal = self.reads.T @ (self.weight / noise) @ self.reads
        pull = stiff @ forward
        diagonal[:-1] += np.swapaxes(forward, 1, 2) @ pull
        diagonal[1:] += stiff
        return factor(diagonal, -pull)

    def _laws(self, density: Floats) -> tuple[Floats, Floats]:
        forward = wiener.both_axes(wiener.transition(self.step, self.order), self.axes)
        stiff = wiener.both_axes(wiener.precision(self.step, self.order), self.axes) / density[:, None, None]
        return forward, stiff

    def pushes(self, chain: Chain, states: Floats, density: Floats) -> tuple[Floats, Floats]:
        """Sums of squared normalised pushes (n - 1, axes), and per step (n - 1,) how many the data determine."""
        forward, stiff = self._laws(density)
        cov, beside = chain.covariances()
        push = states[1:] - forward @ states[:-1]
        cross = forward @ np.swapaxes(beside, 1, 2)
        left = cov[1:] + forward @ cov[:-1] @ np.swapaxes(forward, 1, 2) - cross - np.swapaxes(cross, 1, 2)
        squares = (push * (stiff @ push)).reshape(len(push), self.axes, self.order).sum(axis=2)
        known = self.size - np.einsum("nij,nji->n", stiff, left)
        return squares, np.maximum(known, 1e-9)

    def residuals(self, chain: Chain, states: Floats, values: Floats, noise: float) -> tuple[float, float]:
        """Sum of squared normalised residuals, and the number of measurements that are left to judge the noise."""
        cov, _ = chain.covariances()
        off = values - self.reads @ states
        squares = float((np.swapaxes(off, 1, 2) @ self.weight @ off).sum()) / noise
        used = float(np.einsum("nij,nji->", self.weight, self.reads @ cov @ self.reads.T)) / noise
        measured = self.axes * int((self.weight[:, 0, 0] > 0).sum())
        return squares, measured - used


@dataclass(frozen=True, slots=True, eq=False)
class Roughness:
    """What was found."""

    density: Floats
    """(n - 1,) spectral density of the push in each step, in the system's units."""
    noise: float
    """How many times larger the variance of the measurements is than was said."""
    found: Floats
    """(n - 1, axes) the density to be expected along each axis: the one that fits best, with its own doubt, but without
    the margin of `density`."""


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """The equations of one motion, factored, and what they were made for."""

    system: System
    chain: Chain
    roughness: Roughness

    def errors(self, rng: np.random.Generator, count: int) -> Floats:
        """(n, size, count) how far the solution may be off: draws of new noise and of new pushes, sent through it.

        The curve is held more loosely than the pushes that were found ask for, lest it be biased; its errors are those
        of such a curve under the pushes that were found. With pushes of `density` they would have the inverse of the
        equations as covariance, which is too much.
        """
        system, told = self.system, self.roughness
        n = len(system.weight)
        loose = np.linalg.cholesky(system.weight / told.noise + 1e-200 * np.eye(system.axes))
        right = system.reads.T @ (loose @ rng.standard_normal((n, system.axes, count)))
        forward, stiff = system._laws(told.density)
        size = np.sqrt(told.found / told.density[:, None]).repeat(system.order, axis=1)[:, :, None]
        push = size * (np.linalg.cholesky(stiff) @ rng.standard_normal((n - 1, system.size, count)))
        right[1:] += push
        right[:-1] -= np.swapaxes(forward, 1, 2) @ push
        return self.chain.solve(right)


def estimate(system: System, values: Floats) -> Roughness:
    """Roughness and noise that fit measurements `values` (n, axes), their mean near 0."""
    least = _usual_variance(system) / _SMOOTHEST_STEPS ** (2 * system.order)
    reach, wide = (max(3, round(s / system.step_s)) for s in (_LONG_REACH_S, _WIDE_REACH_S))
    long = np.full(len(system.step), least * (_SMOOTHEST_STEPS / 8) ** (2 * system.order))
    short, noise = np.ones_like(long), 1.0
    column = values[:, :, None]
    for turn in range(_ROUNDS):
        density = np.maximum(long * short, least)
        chain = system.chain(density, noise)
        states = chain.solve(system.right(column) / noise)
        by_axis, known = system.pushes(chain, states, density)
        squares = by_axis.sum(axis=1)
        scatter, judged = system.residuals(chain, states, column, noise)
        noise *= (scatter + _PRIOR_NOISE / noise) / (judged + _PRIOR_NOISE)
        level = _wide_level(np.maximum(long, least), wide)
        told = _near(squares, reach) + _PRIOR_LONG + _PRIOR_WIDE * level / long
        long = long * told / (_near(known, reach) + _PRIOR_LONG + _PRIOR_WIDE)
        if turn >= _ROUNDS_BEFORE_SHORT:
            ratio = (_PRIOR_SHORT + short * _near(squares, 1)) / (_PRIOR_SHORT + _near(known, 1))
            short = np.clip(ratio, 0.3, 1e8)
    found = np.maximum(long * short, least)
    expected = found * _expected_share(_near(known, reach))
    return Roughness(
        _MARGIN * maximum_filter1d(found, 2 * _NEIGHBOURS + 1), noise, expected[:, None] * _shares(by_axis, wide)
    )


def _expected_share(known: Floats) -> Floats:
    """Mean of what the density may be over the density found, from how many pushes it was told: ν/(ν − 2).

    A variance that was told by a few values only is as likely to be larger as smaller, but larger by more (mean of the
    scaled inverse chi-square law; Gelman et al., Bayesian Data Analysis, A.1).
    """
    share: Floats = (known + _PRIOR_WIDE) / np.maximum(known, _PRIOR_WIDE / (_MARGIN - 1))
    return share


def _usual_variance(system: System) -> float:
    weights = system.weight[:, 0, 0]
    return 1.0 / float(np.median(weights[weights > 0]))


def _wide_level(density: Floats, reach: int) -> Floats:
    """Geometric mean of the density over `reach` steps to either side: what is usual thereabouts, jumps apart."""
    level: Floats = np.exp(uniform_filter1d(np.log(density), 2 * reach + 1, mode="nearest"))
    return level


def _shares(squares: Floats, reach: int) -> Floats:
    """(n - 1, axes) pushes along each axis over their mean: a boat is pushed along its way more than aside."""
    near = np.column_stack([_near(axis, reach) + 1.0 for axis in squares.T])
    shares: Floats = near / near.mean(axis=1, keepdims=True)
    return shares


def _near(values: Floats, reach: int) -> Floats:
    """Sum over `reach` steps to either side and the step itself; nothing beyond the ends."""
    width = 2 * reach + 1
    summed: Floats = width * uniform_filter1d(values, width, mode="constant")
    return np.maximum(summed, 0.0)
