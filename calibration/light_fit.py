"""The mathematics of a blinking light seen by a camera: from switch moments and brightnesses to a delay.

A row of a picture collects light during a window of width W around its mid-exposure. With one switch in the window the
lit part is f = 1/2 ± (m − τ)/W, clipped to 0 ... 1: m is mid-exposure, τ the switch, + for on, − for off. So a picture
that catches a switch tells its moment to W times its noise; a picture that does not tells on which side it lies.

Each picture's time may be off by itself (sd `jitter`, about which the pace of the stamps gives a hint). The likelihood
of its brightness is then an integral over a normal distribution, which has a closed form, as f is straight between 0
and 1. A camera's brightness is not proportional to light: h(f) with logit h = logit f + bend is a one-parameter family
of monotone curves through (0,0) and (1,1). A bent curve makes on look early and off look late by the same amount, so
that it cancels where both are equally many.

The posterior of the delay is worked out on a grid (it may be flat with steep walls, where no picture caught a switch;
a normal approximation would be wrong there) and its mean and standard deviation are taken (JCGM 101:2008, 7.6).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import logsumexp, ndtr

Floats = NDArray[np.float64]

STRAY_SHARE = 0.01
"""Part of the pictures that may show anything: a hand before the light, a reflection."""
JITTERS_S: Floats = np.geomspace(2e-5, 1.2e-2, 9)
"""Standard deviations of one stamp that are tried, evenly in their logarithm."""
U_BEND = 0.8
"""Prior standard deviation of the bend; a display gamma of 2.2 seen from black comes to about 1."""
_U_LOG_JITTER = 0.7
_STRAY_DENSITY = 1 / 1.5
_GRID_COUNT = 81
_STEPS_COUNT = 4  # of the grid in one standard deviation, at least
_SHAPES_COUNT = 5  # widths, and bends for each
_SHAPE_NEGLIGIBLE = 4.5  # nats below the likeliest shape
_NEGLIGIBLE = 14.0  # nats below the likeliest
_SQRT_2PI = math.sqrt(2 * math.pi)


@dataclass(frozen=True, slots=True, eq=False)
class Near:
    """The N pictures near a switch. Arrays (N,)."""

    since_s: Floats
    """Claimed mid-exposure of the light's row less the nearest switch."""
    direction: Floats
    """+1: it was switched on; -1: off."""
    lit: Floats
    """Brightness, 0 where the light is off and 1 where it is on."""
    noise: tuple[float, float]
    """Standard deviation of `lit` while off and while on."""
    width_ratio: Floats
    """Exposure of each over the typical one."""
    scatter_s: float = 1e-3
    """Of one stamp about an even pace, standard deviation: about what the jitter may be."""

    def only(self, use: NDArray[np.bool_]) -> Near:
        """Those where `use` (N,) is true."""
        return replace(
            self,
            since_s=self.since_s[use],
            direction=self.direction[use],
            lit=self.lit[use],
            width_ratio=self.width_ratio[use],
        )

    def jitter_log_density(self, jitters_s: Floats) -> Floats:
        """Prior of the logarithm of the jitter: about the scatter, give or take a factor of 2, with long tails."""
        return _long_tailed(np.log(jitters_s / self.scatter_s) / _U_LOG_JITTER)


@dataclass(frozen=True, slots=True)
class Shape:
    """How a switch looks: window in s, its doubt as known beforehand, bend of the response."""

    width_s: float
    bend: float = 0.0


@dataclass(frozen=True, slots=True)
class WidthPrior:
    """What is known of the window's width: about `width_s` within a factor exp(±u_log), never outside the limits."""

    width_s: float
    u_log: float
    """Standard uncertainty of its natural logarithm; infinite: only the limits are known."""
    least_s: float
    most_s: float

    def log_density(self, width_s: float) -> float:
        """Natural logarithm, up to a constant; -inf outside the limits. Long tails: a claim may be plain wrong."""
        if not self.least_s <= width_s <= self.most_s:
            return -math.inf
        return float(_long_tailed(np.array([math.log(width_s / self.width_s) / self.u_log]))[0])


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What the pictures say of the delay for one shape."""

    delay_s: float
    u_s: float
    jitter_s: float
    jitters_s: Floats
    """Of those tried, the ones that are not out of the question."""
    log_evidence: float
    """Natural logarithm of the probability of what was seen, up to a constant."""


def _long_tailed(z: Floats) -> Floats:
    """Logarithm of Student's t density with 2 degrees of freedom, up to a constant."""
    return np.asarray(-1.5 * np.log1p(z**2 / 2), np.float64)


def _density(x: Floats, sd: Floats | float) -> Floats:
    return np.asarray(np.exp(-0.5 * (x / sd) ** 2) / (np.asarray(sd) * _SQRT_2PI), np.float64)


def response(lit: Floats, bend: float) -> Floats:
    """Brightness h(f) of the lit part f = `lit`, both 0 ... 1."""
    gain = math.exp(bend)
    return np.asarray(gain * lit / (1 + (gain - 1) * lit), np.float64)


def samples(
    since_s: Floats, direction: Floats, shape: Shape, jitter_s: float, *, width_ratio: Floats | float = 1.0
) -> tuple[Floats, Floats]:
    """What pictures may show.

    Args:
        since_s: (N,) true mid-exposure less the switch, by their stamps.
        direction: (N,) +1: switched on; -1: off.
        shape: width and bend.
        jitter_s: standard deviation of one stamp.
        width_ratio: (N,) exposure of each over the typical one.

    Returns:
        (N, K) brightness, from 0 without the light to 1 with it, for K errors of the stamp; (K,) probability of each.
    """
    nodes = np.linspace(-4, 4, 81)
    weight = np.exp(-0.5 * nodes**2)
    width = (shape.width_s * np.asarray(width_ratio)).reshape(-1, 1)
    under_way = 0.5 + direction[:, None] * (since_s[:, None] + jitter_s * nodes) / width
    return response(np.clip(under_way, 0, 1), shape.bend), np.asarray(weight / weight.sum(), np.float64)


def log_likelihood(near: Near, delays_s: Floats, jitter_s: float, shape: Shape) -> Floats:
    """(D,) log-likelihood of each of the `delays_s` (D,), the pictures' own errors integrated out."""
    width = shape.width_s * near.width_ratio
    middle = 0.5 + near.direction * (near.since_s - delays_s[:, None]) / width
    scatter = jitter_s / width
    gain = math.exp(shape.bend)
    inside = np.clip(near.lit, 0.0, 1.0)
    undone = inside / (gain - (gain - 1) * inside)
    slope = gain / (1 + (gain - 1) * undone) ** 2
    off, on = near.noise
    noise = (off + (on - off) * inside) / slope
    seen = undone + (near.lit - inside) / slope
    total = np.sqrt(noise**2 + scatter**2)
    best = (seen * scatter**2 + middle * noise**2) / total**2
    blur = noise * scatter / total
    under_way = _density(seen - middle, total) / slope * (ndtr((1 - best) / blur) - ndtr(-best / blur))
    dark = _density(near.lit, off) * ndtr(-middle / scatter)
    bright = _density(near.lit - 1, on) * ndtr((middle - 1) / scatter)
    each = (1 - STRAY_SHARE) * (dark + bright + under_way) + STRAY_SHARE * _STRAY_DENSITY
    return np.asarray(np.log(each).sum(axis=1), np.float64)


def likely_shapes(near: Near, delay_s: float, prior: WidthPrior) -> list[Shape]:
    """Shapes at which the likelihood has a summit, delay and jitter being free; several, as there may be several."""

    def cost(at: Floats) -> float:
        delay, jitter, width, bend = delay_s + 1e-3 * at[0], 1e-3 * math.exp(at[1]), math.exp(at[2]), float(at[3])
        known = prior.log_density(width) + _bend_log_density(bend)
        known += float(near.jitter_log_density(np.array([jitter]))[0])
        if not math.isfinite(known) or not JITTERS_S[0] <= jitter <= JITTERS_S[-1]:
            return 1e9
        return -(float(log_likelihood(near, np.array([delay]), jitter, Shape(width, bend))[0]) + known)

    starts = [(0.1, 1.0), (1.5, 1.0), (0.1, 0.5), (0.1, 2.0)]
    found = [_search(cost, jitter_ms=j, width_s=w * prior.width_s) for j, w in starts]
    return [Shape(math.exp(at[2]), float(at[3])) for at in found]


def _bend_log_density(bend: float) -> float:
    return -0.5 * (bend / U_BEND) ** 2


def _search(cost: Callable[[Floats], float], *, jitter_ms: float, width_s: float) -> Floats:
    start = np.array([0.0, math.log(jitter_ms), math.log(width_s), 0.0])
    simplex = np.vstack([start, start + np.diag([2.0, 0.7, 0.15, 0.3])])
    return np.asarray(
        minimize(
            cost,
            start,
            method="Nelder-Mead",
            options={"initial_simplex": simplex, "xatol": 0.01, "fatol": 0.02, "maxfev": 400},
        ).x,
        np.float64,
    )


def posterior(near: Near, shape: Shape, *, about_s: float, reach_s: float, jitters_s: Floats = JITTERS_S) -> Posterior:
    """Mean and standard deviation of the delay, the jitter being unknown.

    Args:
        near: The pictures.
        shape: Width and bend, taken as given.
        about_s: Where to look first.
        reach_s: How far from there; the grid closes in on what is left.
        jitters_s: Which to try.
    """
    low, high, jitters = about_s - reach_s, about_s + reach_s, jitters_s
    for _ in range(8):
        grid = np.linspace(low, high, _GRID_COUNT)
        step = grid[1] - grid[0]
        logs = np.array([log_likelihood(near, grid, float(j), shape) for j in jitters])
        logs += near.jitter_log_density(jitters)[:, None]
        along = logsumexp(logs, axis=0)
        weight = np.exp(along - along.max())
        weight /= weight.sum()
        mean = float(weight @ grid)
        u = math.sqrt(float(weight @ (grid - mean) ** 2) + step**2 / 12)
        if u >= _STEPS_COUNT * step:
            break
        low, high = max(low, mean - 8 * max(u, step)), min(high, mean + 8 * max(u, step))
        jitters = jitters[logs.max(axis=1) > logs.max() - _NEGLIGIBLE]
    of_jitter = np.exp(logsumexp(logs, axis=1) - logsumexp(logs))
    jitter = math.exp(float(of_jitter @ np.log(jitters)))
    evidence = float(logsumexp(along) + math.log(step))
    return Posterior(mean, u, jitter, jitters[of_jitter > 1e-4], evidence)


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """The delay with what its doubt is made of."""

    delay_s: float
    u_blinks_s: float
    """If width and bend were known."""
    u_through_width_s: float
    """What not knowing the width adds."""
    u_through_bend_s: float
    """What not knowing the bend adds."""
    width_s: float
    u_width_s: float
    bend: float
    """Of the response; 0: brightness is proportional to light."""
    jitter_s: float


def fit(near: Near, *, about_s: float, reach_s: float, prior: WidthPrior) -> Fitted:
    """Delay, width and bend from the pictures `near` a switch, looked for within `about_s` ± `reach_s`."""
    first = posterior(near, Shape(prior.width_s), about_s=about_s, reach_s=reach_s)
    shapes = likely_shapes(near, first.delay_s, prior)
    reach_s = min(reach_s, max(10 * first.u_s, 3e-3))
    ranked = [(_judged(near, shape, prior, about_s=first.delay_s, reach_s=reach_s), shape) for shape in shapes]
    (_, first), shape = max(ranked, key=lambda each: each[0][0])
    reach_s = min(reach_s, max(6 * first.u_s, 2e-4))
    tells = reach_s + 1.5 * shape.width_s + 6 * float(first.jitters_s[-1])
    near = near.only(np.abs(near.since_s - first.delay_s) < tells)  # the others cannot tell one delay from another
    return _averaged(near, shape, prior, first, reach_s)


def _judged(
    near: Near, shape: Shape, prior: WidthPrior, *, about_s: float, reach_s: float, jitters_s: Floats = JITTERS_S
) -> tuple[float, Posterior]:
    """Log-probability of the shape, up to a constant, and what it says of the delay."""
    result = posterior(near, shape, about_s=about_s, reach_s=reach_s, jitters_s=jitters_s)
    return result.log_evidence + prior.log_density(shape.width_s) + _bend_log_density(shape.bend), result


def _averaged(near: Near, shape: Shape, prior: WidthPrior, first: Posterior, reach_s: float) -> Fitted:
    """Over all widths and bends that are possible, each with its probability."""
    likeliest = JITTERS_S[[int(np.argmin(np.abs(np.log(JITTERS_S / first.jitter_s))))]]

    def judged(width: float, bend: float, jitters_s: Floats) -> tuple[float, Posterior]:
        at = Shape(width, bend)
        return _judged(near, at, prior, about_s=first.delay_s, reach_s=reach_s, jitters_s=jitters_s)

    least = judged(shape.width_s, shape.bend, likeliest)[0] - _SHAPE_NEGLIGIBLE
    ends = [
        _edge(lambda log: judged(math.exp(log), shape.bend, likeliest)[0] > least, math.log(shape.width_s), limit)
        for limit in (math.log(prior.least_s), math.log(prior.most_s))
    ]
    bent = [
        _edge(lambda bend: judged(shape.width_s, bend, likeliest)[0] > least, shape.bend, limit)
        for limit in (-4 * U_BEND, 4 * U_BEND)
    ]
    widths, bends = np.exp(np.linspace(ends[0], ends[1], _SHAPES_COUNT)), np.linspace(bent[0], bent[1], _SHAPES_COUNT)
    every = [[judged(float(w), float(b), first.jitters_s) for b in bends] for w in widths]
    logs = np.array([[log for log, _ in row] for row in every])
    weights = np.exp(logs - logsumexp(logs))
    means = np.array([[each.delay_s for _, each in row] for row in every])
    inner = np.array([[each.u_s**2 for _, each in row] for row in every])
    jitters = np.array([[each.jitter_s for _, each in row] for row in every])
    of_width = weights.sum(axis=1)
    at_width = (weights * means).sum(axis=1) / np.maximum(of_width, 1e-300)
    delay, width = float((weights * means).sum()), float(of_width @ widths)
    return Fitted(
        delay_s=delay,
        u_blinks_s=math.sqrt(float((weights * inner).sum())),
        u_through_width_s=math.sqrt(float(of_width @ (at_width - delay) ** 2)),
        u_through_bend_s=math.sqrt(float((weights * (means - at_width[:, None]) ** 2).sum())),
        width_s=width,
        u_width_s=math.sqrt(float(of_width @ (widths - width) ** 2)),
        bend=float(weights.sum(axis=0) @ bends),
        jitter_s=math.exp(float((weights * np.log(jitters)).sum())),
    )


def _edge(is_possible: Callable[[float], bool], start: float, limit: float) -> float:
    """Going from `start` towards `limit` in growing steps: the first that is not possible, or the limit."""
    step = 0.01
    while step < abs(limit - start):
        at = start + math.copysign(step, limit - start)
        if not is_possible(at):
            return at
        step *= 1.7
    return limit
