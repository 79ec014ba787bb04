"""Solve a chain: symmetric block-tridiagonal equations, all steps of one level of the elimination at once.

A two-way (forward and backward) smoother is the weighted least-squares solution of a chain of states, each tied to the
next by the laws of motion and to the world by its own measurements. Its normal matrix is block-tridiagonal. Instead of
walking along the chain in a Python loop we strike out every second state, which leaves a chain half as long of the
same kind, and so on (cyclic reduction; Golub & Van Loan, Matrix Computations, 4th ed., 4.5.4). Going back up gives the
solution and the blocks of the inverse that stand on and beside the diagonal: the same answers as a Kalman filter with a
Rauch-Tung-Striebel pass, in log2(N) array operations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Level:
    """One halving: the odd states given their even neighbours. k odd states, blocks of m."""

    inverse: Floats
    """(k, m, m) covariance of each odd state given its neighbours."""
    to_left: Floats
    """(k, m, m) how its mean follows the even state before it."""
    to_right: Floats
    """(r, m, m) how its mean follows the even state after it; r is k, or k - 1 if the chain ends with an odd state."""


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """A factored chain of n states of m numbers each."""

    levels: tuple[_Level, ...]
    last: Floats
    """(m, m) inverse of what is left: the covariance of the first state."""

    def solve(self, right: Floats) -> Floats:
        """The solution (n, m, c) for right-hand sides (n, m, c)."""
        return _solve(self.levels, self.last, right)

    def covariances(self) -> tuple[Floats, Floats]:
        """Of the inverse: the diagonal blocks (n, m, m), and (n - 1, m, m), each state (rows) with the one before."""
        return _covariances(self.levels, self.last)


def factor(diagonal: Floats, below: Floats) -> Chain:
    """Factor the matrix with diagonal blocks (n, m, m) and blocks below it (n - 1, m, m), positive definite.

    Raises:
        numpy.linalg.LinAlgError: a block is singular.
    """
    levels: list[_Level] = []
    while len(diagonal) > 1:
        odd, left, right = diagonal[1::2], below[0::2], below[1::2]
        k, r = len(odd), len(right)
        inverse = _symmetric(_inverse(odd))
        to_left = -inverse @ left
        to_right = -inverse[:r] @ _turned(right)
        levels.append(_Level(inverse, to_left, to_right))
        diagonal = diagonal[0::2].copy()
        diagonal[:k] += _turned(left) @ to_left
        diagonal[1 : r + 1] += right @ to_right
        below = right @ to_left[:r]
    return Chain(tuple(levels), _symmetric(_inverse(diagonal[0])))


def _solve(levels: tuple[_Level, ...], last: Floats, right: Floats) -> Floats:
    if not levels:
        return last @ right
    level, deeper = levels[0], levels[1:]
    k, r = len(level.inverse), len(level.to_right)
    odd = right[1::2]
    even = right[0::2].copy()
    even[:k] += _turned(level.to_left) @ odd
    even[1 : r + 1] += _turned(level.to_right) @ odd[:r]
    solved = _solve(deeper, last, even)
    own = level.inverse @ odd + level.to_left @ solved[:k]
    own[:r] += level.to_right @ solved[1 : r + 1]
    return _woven(solved, own)


def _covariances(levels: tuple[_Level, ...], last: Floats) -> tuple[Floats, Floats]:
    if not levels:
        return last[None], np.empty((0, *last.shape))
    level, deeper = levels[0], levels[1:]
    k, r = len(level.inverse), len(level.to_right)
    even, beside = _covariances(deeper, last)
    with_left = level.to_left @ even[:k]
    with_left[:r] += level.to_right @ beside[:r]
    with_right = level.to_right @ even[1 : r + 1] + level.to_left[:r] @ _turned(beside[:r])
    own = level.inverse + with_left @ _turned(level.to_left)
    own[:r] += with_right @ _turned(level.to_right)
    return _woven(even, _symmetric(own)), _woven(with_left, _turned(with_right))


def _woven(even: Floats, odd: Floats) -> Floats:
    whole = np.empty((len(even) + len(odd), *even.shape[1:]))
    whole[0::2], whole[1::2] = even, odd
    return whole


def _turned(blocks: Floats) -> Floats:
    return np.swapaxes(blocks, -1, -2)


def _symmetric(blocks: Floats) -> Floats:
    half: Floats = (blocks + _turned(blocks)) / 2
    return half


def _inverse(blocks: Floats) -> Floats:
    return np.asarray(np.linalg.inv(blocks), np.float64)
