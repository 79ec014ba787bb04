"""Moments in which a boat's speed was changed in a moment: by a push, a knock, a wall.

Water and drive change a boat's speed slowly: over a second its place is a parabola of time, with a bend where the drive
begins or ends. A push adds to the speed within some tenths of a second, and what it added stays. It is believed only
where it explains the places much better than all that may look like it:

- the acceleration changed (released, power cut), or changed steadily,
- the boat was only misread: its place jumped, or was aside for as long (something hid a part of it).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_ASIDE_S = (0.55, 0.3)
"""So much of the way before and after a push tells what it changed: less where the power was cut soon before."""
_FEWEST_COUNT = 5
"""Pictures in which the boat is wanted before and after."""
_LASTS_S = (0.1, 0.15, 0.2, 0.3, 0.4, 0.6)
_FINELY_LASTS_S = (0.04, 0.08, 0.12, 0.16, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5, 0.6, 0.7)
"""How long pushes last, as they are looked for at first, and when one was found."""
_HINT_LASTS_S = 0.25
_MOST_HINTS = 8
_ANYTHING, _CLEAR = 20.0, 100.0
"""By how many times the variance of the places the squared misfit must fall; less than the first of it is quiet."""
_LEAST_MM_PER_S = 15.0
_U_PLACE_MM = 0.1
"""No place is better known than this."""
_APART_S = 0.2
"""Two pushes nearer than this are told as the clearer of them."""
_AT_ONCE_COUNT = 512
"""So many are tried together: one by one NumPy's calls cost more than its sums."""
_NOTHING = 1e-9
"""A way of which only so much, as a share, is none of the smooth course's own tells nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Push:
    """One sudden change of speed."""

    from_s: float
    to_s: float
    change_mm_per_s: Floats
    """(2,) velocity after it less what it would have been."""
    clearness: float
    """By how many times the variance of one place it lessens the misfit of all."""
    aside_s: float
    """How much of the way before and after was looked at."""


def pushes(t_s: Floats, place_mm: Floats) -> list[Push]:
    """All sudden changes of speed, in order of time.

    Args:
        t_s: (N,) increasing; gaps are allowed.
        place_mm: (N, 2).
    """
    hints = _hints(t_s, place_mm)
    tried = _pushes(*_each(hints), t_s, place_mm)
    found = [push for first_s in hints if (push := _clearest(first_s, tried)) is not None]
    found.sort(key=lambda push: -push.clearness)
    kept: list[Push] = []
    for push in found:
        if all(push.from_s > other.to_s + _APART_S or push.to_s < other.from_s - _APART_S for other in kept):
            kept.append(push)
    finer = (_finer(push, t_s, place_mm) for push in kept)
    return sorted(finer, key=lambda push: push.from_s)


def _hints(t_s: Floats, place_mm: Floats) -> list[float]:
    """Moments near which a push would explain something: a cheap look at one length of push only."""
    gains = np.zeros(len(t_s))
    for start in range(0, len(t_s), _AT_ONCE_COUNT):
        first_s = t_s[start : start + _AT_ONCE_COUNT]
        lasts_s, aside_s = np.full(len(first_s), _HINT_LASTS_S), np.full(len(first_s), _ASIDE_S[0])
        solved = _Solved(_tries(first_s, lasts_s, aside_s, t_s, place_mm))
        gains[start + solved.tries.which] = solved.gain() / solved.variance()
    hints: list[float] = []
    for k in np.argsort(-gains):
        if gains[k] < _ANYTHING or len(hints) == _MOST_HINTS:
            break
        if all(abs(t_s[k] - hint) > _APART_S for hint in hints):
            hints.append(float(t_s[k]))
    step = float(np.median(np.diff(t_s))) if len(t_s) > 1 else 0.0
    return [hint + later * step for hint in hints for later in (-2, 0, 2)]


def _each(hints: list[float]) -> tuple[Floats, Floats, Floats]:
    """(B,) beginnings, lengths and how much is looked at aside, of all that are tried near the hints."""
    first_s, aside_s, lasts_s = np.meshgrid(hints, _ASIDE_S, _LASTS_S, indexing="ij")
    return first_s.ravel(), lasts_s.ravel(), aside_s.ravel()


def _clearest(first_s: float, tried: list[Push]) -> Push | None:
    """The clearest push that begins at `first_s`, if it is clear enough."""
    best = max((push for push in tried if push.from_s == first_s), key=lambda push: push.clearness, default=None)
    if best is None:
        return None
    is_it = best.clearness > _CLEAR and np.hypot(*best.change_mm_per_s) > _LEAST_MM_PER_S
    return best if is_it else None


def _finer(push: Push, t_s: Floats, place_mm: Floats) -> Push:
    """The push near one that was looked for in steps of a picture which explains the same places best."""
    step = float(np.median(np.diff(t_s)))
    near = slice(*np.searchsorted(t_s, [push.from_s - push.aside_s, push.to_s + push.aside_s]))
    middle = (push.from_s + push.to_s) / 2 + np.arange(-8, 9) * step / 2
    at, lasts_s = (grid.ravel() for grid in np.meshgrid(middle, _FINELY_LASTS_S, indexing="ij"))
    first_s = at - lasts_s / 2
    seen = np.broadcast_to(place_mm[near], (len(first_s), *place_mm[near].shape))
    since = t_s[near] - first_s[:, None]
    whole = _Tries(np.arange(len(first_s)), first_s, lasts_s, since, seen, np.ones(since.shape, bool))
    best = int(np.argmin(_Solved(whole).left()))
    aside_s = np.array([push.aside_s])
    finer = (_pushes(first_s[best, None], lasts_s[best, None], aside_s, t_s, place_mm) or [push])[0]
    return replace(finer, clearness=max(finer.clearness, push.clearness))


def _pushes(first_s: Floats, lasts_s: Floats, aside_s: Floats, t_s: Floats, place_mm: Floats) -> list[Push]:
    """The pushes in just these times (B,), without those before or after which too little is seen of the boat."""
    if not len(first_s):
        return []
    solved = _Solved(_tries(first_s, lasts_s, aside_s, t_s, place_mm))
    tries = solved.tries
    clearness = (solved.otherwise() - solved.left()) / solved.variance()
    rows = zip(tries.first_s, tries.lasts_s, solved.change(), clearness, aside_s[tries.which], strict=True)
    return [Push(float(a), float(a + b), change, float(clear), float(aside)) for a, b, change, clear, aside in rows]


@dataclass(frozen=True, slots=True, eq=False)
class _Tries:
    """B pushes that are tried, each with at most K pictures near it."""

    which: NDArray[np.int64]
    """(B,) of those that were asked for."""
    first_s: Floats
    lasts_s: Floats
    since_s: Floats
    """(B, K) times since each begins."""
    seen_mm: Floats
    """(B, K, 2) places; 0 where it is not near."""
    is_near: NDArray[np.bool_]
    """(B, K)"""


def _tries(first_s: Floats, lasts_s: Floats, aside_s: Floats, t_s: Floats, place_mm: Floats) -> _Tries:
    """What is near each of so many pushes, without those before or after which too little is seen."""
    low = np.searchsorted(t_s, first_s - aside_s)
    high = np.searchsorted(t_s, first_s + lasts_s + aside_s)
    at = low[:, None] + np.arange((high - low).max(initial=0))
    is_near = at < high[:, None]
    at = np.minimum(at, len(t_s) - 1)
    since = t_s[at] - first_s[:, None]
    before, after = is_near & (since < 0), is_near & (since > lasts_s[:, None])
    which = np.flatnonzero(np.minimum(before.sum(axis=1), after.sum(axis=1)) >= _FEWEST_COUNT)
    at, is_near = at[which], is_near[which]
    seen = np.where(is_near[..., None], place_mm[at], 0.0)
    return _Tries(which, first_s[which], lasts_s[which], since[which], seen, is_near)


class _Solved:
    """Least squares of the places near B pushes."""

    def __init__(self, tries: _Tries) -> None:
        self.tries = tries
        base, upper = np.linalg.qr(_course(tries.since_s, tries.lasts_s[:, None]) * tries.is_near[..., None])
        self._smooth, self._last = base[..., :-1], base[..., -1:]
        self._scale = upper[:, -1, -1]
        self._rest = self._freed(tries.seen_mm)
        self._by_push = np.swapaxes(self._last, 1, 2) @ self._rest

    def _freed(self, ways: Floats) -> Floats:
        """Ways (B, K, n) without what is smooth in them."""
        freed: Floats = ways - self._smooth @ (np.swapaxes(self._smooth, 1, 2) @ ways)
        return freed

    def gain(self) -> Floats:
        """(B,) by how much the push lessens the sum of squares that a smooth course leaves."""
        return _squares(self._by_push)

    def left(self) -> Floats:
        """(B,) what is left of it."""
        return _squares(self._rest - self._last @ self._by_push)

    def variance(self) -> Floats:
        """(B,) of one coordinate of a place."""
        count = 2 * self.tries.is_near.sum(axis=1)
        variance: Floats = np.maximum(self.left() / (count - 10), _U_PLACE_MM**2)
        return variance

    def change(self) -> Floats:
        """(B, 2) of the velocity."""
        change: Floats = self._by_push[:, 0] / self._scale[:, None]
        return change

    def otherwise(self) -> Floats:
        """(B,) the least that a smooth course and one other thing leave."""
        tries = self.tries
        ways = np.stack([*_lookalikes(tries.since_s, tries.lasts_s[:, None])], axis=-1) * tries.is_near[..., None]
        freed = self._freed(self._freed(ways))
        own, whole = (freed**2).sum(axis=1), (ways**2).sum(axis=1)
        tells = own > _NOTHING**2 * np.maximum(whole, _NOTHING)
        explained = ((np.swapaxes(freed, 1, 2) @ self._rest) ** 2).sum(axis=2) / np.where(tells, own, np.inf)
        least: Floats = _squares(self._rest) - explained.max(axis=1)
        return least


def _squares(values: Floats) -> Floats:
    """(B,) sums of the squares of (B, K, n)."""
    sums: Floats = (values * values).sum(axis=(1, 2))
    return sums


def _course(since_s: Floats, lasts_s: Floats) -> Floats:
    """(..., 5) what a place is made of: a parabola, a bend as drag or drive change with the speed, and the push."""
    bend = np.clip(since_s - lasts_s / 2, 0.0, None) ** 2
    return np.stack([np.ones_like(since_s), since_s, since_s**2, bend, _way(since_s, lasts_s)], axis=-1)


def _way(since_s: Floats, lasts_s: Floats) -> Floats:
    """Way made by a push that adds 1 mm/s from 0 to `lasts_s`; its force grows and falls as half a sine wave."""
    during = np.clip(since_s, 0.0, lasts_s)
    way: Floats = during / 2 - lasts_s / (2 * np.pi) * np.sin(np.pi * during / lasts_s)
    return way + np.clip(since_s - lasts_s, 0.0, None)


def _lookalikes(since_s: Floats, lasts_s: Floats) -> Iterator[Floats]:
    """What may have happened instead, as a way of its own."""
    yield since_s**3
    for bend_s in (-lasts_s / 2, 0.0, lasts_s, 1.5 * lasts_s):
        yield np.clip(since_s - bend_s, 0.0, None) ** 2
        yield np.asarray(since_s > bend_s, np.float64)
    yield np.asarray((since_s > 0) & (since_s < lasts_s), np.float64)
