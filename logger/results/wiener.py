"""Integrated white noise: the law of motion of something that is pushed about by what we do not know.

Order 2: velocity wanders (white acceleration). Order 3: acceleration wanders (white jerk). Between two moments h apart
the state (position, velocity, ...) moves by `transition` and gains the covariance density x `scatter` (Rasmussen &
Williams, Gaussian Processes for Machine Learning, 6.3; Bar-Shalom et al., Estimation with Applications to Tracking and
Navigation, 6.2). The mean between two moments is the cubic (order 2) or quintic (order 3) Hermite polynomial.
"""

from __future__ import annotations

from math import factorial

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def transition(h: Floats, order: int) -> Floats:
    """(n, order, order) for steps `h` (n,): Taylor's rows, h^(j-i)/(j-i)!."""
    step = np.zeros((len(h), order, order))
    for i in range(order):
        for j in range(i, order):
            step[:, i, j] = h ** (j - i) / factorial(j - i)
    return step


def scatter(h: Floats, order: int) -> Floats:
    """(n, order, order) covariance gained over steps `h` (n,) at unit spectral density of the highest derivative."""
    gained = np.empty((len(h), order, order))
    for i in range(order):
        for j in range(order):
            power = 2 * order - 1 - i - j
            gained[:, i, j] = h**power / (power * factorial(order - 1 - i) * factorial(order - 1 - j))
    return gained


def precision(h: Floats, order: int) -> Floats:
    """(n, order, order) inverse of `scatter`, formed at h = 1 and scaled, so that short steps lose no digits."""
    unit = np.linalg.inv(scatter(np.ones(1), order)[0])
    scale = h[:, None] ** (np.arange(order) - (order - 0.5))
    inverse: Floats = unit * scale[:, :, None] * scale[:, None, :]
    return inverse


def between(since: Floats, until: Floats, order: int) -> tuple[Floats, Floats, Floats]:
    """A state between two known ones, `since` (n,) after the first and `until` (n,) > 0 before the second.

    Returns:
        (from_first, from_second, left): the mean is from_first·a + from_second·b, each (n, order, order); `left` is
        the covariance that remains, at unit density.
    """
    whole = since + until
    forward = transition(until, order)
    gained = scatter(since, order)
    from_second = gained @ np.swapaxes(forward, 1, 2) @ precision(whole, order)
    from_first = transition(since, order) - from_second @ transition(whole, order)
    left = gained - from_second @ forward @ gained
    return from_first, from_second, (left + np.swapaxes(left, 1, 2)) / 2


def both_axes(block: Floats, axes: int = 2) -> Floats:
    """(n, axes·order, axes·order): the same block for each axis; states stand axis by axis."""
    n, order = len(block), block.shape[-1]
    wide = np.zeros((n, axes, order, axes, order))
    for axis in range(axes):
        wide[:, axis, :, axis, :] = block
    return wide.reshape(n, axes * order, axes * order)
