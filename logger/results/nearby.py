"""The speed at one moment, from the fixes shortly before and after it alone.

Along the boat's direction its way, t seconds from the moment, is a steady push and what we do not know:

    s(t) = s₀ + v·t + a·t²/2 + w(t)

w is white jerk of density q summed three times, to both sides of the moment (Wiener process of third order; Rasmussen &
Williams, Gaussian Processes for Machine Learning, 6.3). Where power is cut, at τ, the acceleration is a before it and
d·e^(−κ(t − τ)) after it: drag grows with the speed, so it fades as the boat slows, with κ = −d/v if drag is linear and
−2d/v if it is quadratic. Given q, τ and the law of drag, the rest follows by generalised least squares (Rasmussen &
Williams, 2.7), and so does the likelihood of the fixes.

Nobody knows q, τ or the law of drag. All that are reasonable are tried, and each answer counts as much as its
likelihood (Hoeting et al., Bayesian Model Averaging, Statistical Science 14:382-417, 1999): the doubt is what each has
plus how far they are apart. So a stretch that looks smooth by chance is not taken for smooth, and a corner is neither
rounded off nor invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

REACH_S = 0.6
"""Fixes within this time count where the push does not change ..."""
REACH_AT_CUT_S = 0.9
"""... and within this where it does, since there is more to find."""
_CUT_AFTER_S = 0.025 * np.arange(-4, 11)
"""When power may have been cut, from the moment the bow was at the line; closer together than the fixes can tell."""
_CUT_EARLY = 0.05
"""The rule is to cut at the line, and people are late by their reaction; one in twenty runs ahead of it (common
practice, no source)."""
_DENSITIES = 10.0 ** np.arange(0.0, 6.6, 0.5)
"""Spectral densities of the jerk, mm²/s⁵: from a boat in still air to one that is pushed by hand."""
_DRAG_POWERS = (1.0, 2.0)
_LOSES_WAY_S = 1.0
"""Without power a boat loses its way within seconds: d is something like the speed over this."""
_FASTEST_FADE_PER_S = 8.0
_ROUNDS = 3
_A = 2


@dataclass(frozen=True, slots=True, eq=False)
class Near:
    """The fixes near a moment."""

    time_s: Floats
    """(n,) from the moment."""
    way_mm: Floats
    """(n, 1 + m) along the boat's direction there; further columns: by how much each of m sources would move them."""
    u_mm: Floats
    """(n,) standard deviation of their noise."""


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What the fixes say of the moment."""

    speed_mm_per_s: float
    u_mm_per_s: float
    """From the noise of the fixes and what the boat may have done between them."""
    gain_mm_per_s2: float
    """How fast the speed grows, mean of before and after."""
    moved_mm_per_s: Floats
    """(m,) by how much each source would change the speed."""


@dataclass(frozen=True, slots=True, eq=False)
class _Answers:
    """Those of every density, k of them, for one τ and one law of drag."""

    speed: Floats
    """(k, 1 + m)"""
    variance: Floats
    gain: Floats
    last: Floats
    """Acceleration after the cut."""
    log_likelihood: Floats


def read(near: Near, *, speed_mm_per_s: float, power_cut: bool) -> Reading:
    """The speed at the moment.

    Args:
        near: at least four fixes on each side.
        speed_mm_per_s: about the speed, > 0.
        power_cut: whether somebody cut the power about then.
    """
    whole = _Whitened.of(near)
    if power_cut:
        found = [_faded(whole, at, power, speed_mm_per_s) for at in _CUT_AFTER_S for power in _DRAG_POWERS]
        beforehand = np.repeat(np.log(_cut_at()), len(_DRAG_POWERS) * len(_DENSITIES))
    else:
        found, beforehand = [whole.answers(None, speed_mm_per_s)], np.zeros(len(_DENSITIES))
    weight = _weights(np.concatenate([a.log_likelihood for a in found]) + beforehand)
    speeds = np.concatenate([a.speed for a in found])
    mean = weight @ speeds
    variance = np.concatenate([a.variance for a in found]) + (speeds[:, 0] - mean[0]) ** 2
    gain = weight @ np.concatenate([a.gain for a in found])
    return Reading(float(mean[0]), float(np.sqrt(weight @ variance)), float(gain), mean[1:])


def mean(near: Near, window_s: float) -> tuple[Floats, float]:
    """Mean speed over a window with the moment in its middle: (1 + m,) as in `Near`, mm/s, and its u.

    What w does within the window counts too: it is predicted from the fixes (Rasmussen & Williams, 2.7).
    """
    whole, half = _Whitened.of(near), window_s / 2
    ends, sign = np.array([-half, half]), np.array([-1.0, 1.0])
    tied = whole.turn @ (_wandering(np.concatenate([near.time_s, ends]))[:-2, -2:] @ sign)
    own = float(sign @ _wandering(ends) @ sign)
    forms, _, _ = _uniform(near.time_s)
    form = whole.turn @ forms
    weight = 1.0 / (_DENSITIES[:, None] * whole.strength + 1.0)
    gain = _DENSITIES[:, None] * weight * tied
    read = np.array([0.0, window_s, 0.0]) - gain @ form
    normal = np.einsum("kn,ni,nj->kij", weight, form, form)
    covariance = np.linalg.inv(normal)
    found = covariance @ np.einsum("kn,ni,nc->kic", weight, form, whole.way)
    moved = np.einsum("ki,kic->kc", read, found) + gain @ whole.way
    variance = _DENSITIES * (own - gain @ tied) + np.einsum("ki,kij,kj->k", read, covariance, read)
    likely = _weights(whole.answers(None, 1.0).log_likelihood)
    middle = likely @ moved
    spread = likely @ (np.maximum(variance, 0.0) + (moved[:, 0] - middle[0]) ** 2)
    return middle / window_s, float(np.sqrt(spread)) / window_s


def _cut_at() -> Floats:
    """How likely each of _CUT_AFTER_S is beforehand."""
    early = _CUT_AFTER_S < -1e-9
    likely: Floats = np.where(early, _CUT_EARLY / early.sum(), (1 - _CUT_EARLY) / (~early).sum())
    return likely


def _faded(whole: _Whitened, after_s: float, power: float, speed: float) -> _Answers:
    """With κ settled: it follows from d, and d from it."""
    fade = 0.0
    for _ in range(_ROUNDS - 1):
        found = whole.answers((after_s, fade), speed)
        loses = -float(_weights(found.log_likelihood) @ found.last)
        fade = float(np.clip(power * loses / speed, 0.0, _FASTEST_FADE_PER_S))
    return whole.answers((after_s, fade), speed)


@dataclass(frozen=True, slots=True, eq=False)
class _Whitened:
    """The fixes turned so that neither their noise nor w ties one to another, whatever q is."""

    time_s: Floats
    turn: Floats
    """(n, n) from ways to what is fitted."""
    strength: Floats
    """(n,) variance of w there at unit density; that of the noise is 1."""
    way: Floats
    """(n, 1 + m)"""

    @staticmethod
    def of(near: Near) -> _Whitened:
        scaled = _wandering(near.time_s) / np.outer(near.u_mm, near.u_mm)
        strength, direction = np.linalg.eigh(scaled)
        turn = direction.T / near.u_mm
        return _Whitened(near.time_s, turn, np.maximum(strength, 0.0), turn @ near.way_mm)

    def answers(self, cut: tuple[float, float] | None, speed: float) -> _Answers:
        """For every density; `cut`: τ in s, and κ in 1/s."""
        forms, read, prior = _uniform(self.time_s) if cut is None else _cut(self.time_s, *cut, speed)
        form = self.turn @ forms
        weight = 1.0 / (_DENSITIES[:, None] * self.strength + 1.0)
        normal = np.einsum("kn,ni,nj->kij", weight, form, form) + np.diag(prior)
        right = np.einsum("kn,ni,nc->kic", weight, form, self.way)
        covariance = np.linalg.inv(normal)
        found = covariance @ right
        misfit = weight @ self.way[:, 0] ** 2 - (right[:, :, 0] * found[:, :, 0]).sum(axis=1)
        likelihood = np.log(weight).sum(axis=1) - np.linalg.slogdet(normal)[1] - misfit
        return _Answers(
            speed=np.einsum("i,kic->kc", read, found),
            variance=np.einsum("i,kij,j->k", read, covariance, read),
            gain=found[:, _A:, 0].mean(axis=1),
            last=found[:, -1, 0],
            log_likelihood=likelihood / 2,
        )


def _wandering(time_s: Floats) -> Floats:
    """(n, n) covariance of w at unit density: white noise from moment 0 outwards, summed three times.

    For s ≤ t on one side it is ∫₀ˢ (s − x)²(t − x)²/4 dx; the two sides know nothing of each other.
    """
    far = np.abs(time_s)
    s = np.minimum(far[:, None], far)
    apart = np.abs(far[:, None] - far)
    tied: Floats = (s**5 / 5 + apart * s**4 / 2 + apart**2 * s**3 / 3) / 4
    tied[np.sign(time_s)[:, None] * np.sign(time_s) < 0] = 0.0
    return tied


def _uniform(t: Floats) -> tuple[Floats, Floats, Floats]:
    """Forms (n, 3) of s₀, v and a; what of them makes the speed at 0; and what is known of them beforehand."""
    return np.column_stack([np.ones_like(t), t, t * t / 2]), np.array([0.0, 1.0, 0.0]), np.zeros(3)


def _cut(time_s: Floats, after_s: float, fade: float, speed: float) -> tuple[Floats, Floats, Floats]:
    """The same (n, 4) of place and speed at the cut, and of a and d."""
    t = time_s - after_s
    driven, coasting = np.minimum(t, 0.0) ** 2 / 2, _coast(t, fade)[0]
    read = np.array([0.0, 1.0, min(-after_s, 0.0), _coast(np.array([-after_s]), fade)[1][0]])
    return (
        np.column_stack([np.ones_like(t), t, driven, coasting]),
        read,
        np.array([0.0, 0.0, 0.0, (_LOSES_WAY_S / speed) ** 2]),
    )


def _coast(since_s: Floats, fade: float) -> tuple[Floats, Floats]:
    """Way and speed that a fading acceleration of 1 at first has made since the cut; 0 before it."""
    t = np.maximum(since_s, 0.0)
    if fade * t.max(initial=0.0) < 1e-4:
        return t * t / 2, t
    return (fade * t + np.expm1(-fade * t)) / fade**2, -np.expm1(-fade * t) / fade


def _weights(log_likelihood: Floats) -> Floats:
    weight = np.exp(log_likelihood - log_likelihood.max())
    return np.asarray(weight / weight.sum(), np.float64)
