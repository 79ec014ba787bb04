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
from itertools import product

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
    found = [push for first_s in _hints(t_s, place_mm) if (push := _from(first_s, t_s, place_mm)) is not None]
    found.sort(key=lambda push: -push.clearness)
    kept: list[Push] = []
    for push in found:
        if all(push.from_s > other.to_s + _APART_S or push.to_s < other.from_s - _APART_S for other in kept):
            kept.append(push)
    finer = (_finer(push, t_s, place_mm) for push in kept)
    return sorted(finer, key=lambda push: push.from_s)


def _hints(t_s: Floats, place_mm: Floats) -> list[float]:
    """Moments near which a push would explain something: a cheap look at one length of push only."""
    gains = np.array([_gain(float(first_s), t_s, place_mm) for first_s in t_s])
    hints: list[float] = []
    for k in np.argsort(-gains):
        if gains[k] < _ANYTHING or len(hints) == _MOST_HINTS:
            break
        if all(abs(t_s[k] - hint) > _APART_S for hint in hints):
            hints.append(float(t_s[k]))
    step = float(np.median(np.diff(t_s))) if len(t_s) > 1 else 0.0
    return [hint + later * step for hint in hints for later in (-2, 0, 2)]


def _gain(first_s: float, t_s: Floats, place_mm: Floats) -> float:
    near = slice(*np.searchsorted(t_s, [first_s - _ASIDE_S[0], first_s + _HINT_LASTS_S + _ASIDE_S[0]]))
    since, seen = t_s[near] - first_s, place_mm[near]
    if min(np.count_nonzero(since < 0), np.count_nonzero(since > _HINT_LASTS_S)) < _FEWEST_COUNT:
        return 0.0
    course = _course(since, _HINT_LASTS_S)
    left = _misfit(course, seen)
    return (_misfit(course[:, :-1], seen) - left) / max(left / (seen.size - 10), _U_PLACE_MM**2)


def _from(first_s: float, t_s: Floats, place_mm: Floats) -> Push | None:
    """The clearest push that begins at `first_s`, if it is clear enough."""
    asked = [_push(first_s, lasts_s, t_s, place_mm, aside_s) for aside_s in _ASIDE_S for lasts_s in _LASTS_S]
    tried = [push for push in asked if push is not None]
    if not tried:
        return None
    best = max(tried, key=lambda push: push.clearness)
    is_it = best.clearness > _CLEAR and np.hypot(*best.change_mm_per_s) > _LEAST_MM_PER_S
    return best if is_it else None


def _finer(push: Push, t_s: Floats, place_mm: Floats) -> Push:
    """The push near one that was looked for in steps of a picture which explains the same places best."""
    step = float(np.median(np.diff(t_s)))
    near = slice(*np.searchsorted(t_s, [push.from_s - push.aside_s, push.to_s + push.aside_s]))
    middle = (push.from_s + push.to_s) / 2 + np.arange(-8, 9) * step / 2
    tried = [(at - lasts_s / 2, lasts_s) for at, lasts_s in product(middle, _FINELY_LASTS_S)]
    left = [_misfit(_course(t_s[near] - first_s, lasts_s), place_mm[near]) for first_s, lasts_s in tried]
    first_s, lasts_s = tried[int(np.argmin(left))]
    finer = _push(float(first_s), float(lasts_s), t_s, place_mm, push.aside_s) or push
    return replace(finer, clearness=max(finer.clearness, push.clearness))


def _push(first_s: float, lasts_s: float, t_s: Floats, place_mm: Floats, aside_s: float) -> Push | None:
    """The push in just that time; None: too little is seen of the boat before or after."""
    near = slice(*np.searchsorted(t_s, [first_s - aside_s, first_s + lasts_s + aside_s]))
    since, seen = t_s[near] - first_s, place_mm[near]
    if min(np.count_nonzero(since < 0), np.count_nonzero(since > lasts_s)) < _FEWEST_COUNT:
        return None
    course = _course(since, lasts_s)
    smooth = course[:, :-1]
    solution, *_ = np.linalg.lstsq(course, seen, rcond=None)
    left = float(((seen - course @ solution) ** 2).sum())
    variance = max(left / (seen.size - 10), _U_PLACE_MM**2)
    otherwise = min(_misfit(np.column_stack([smooth, other]), seen) for other in _lookalikes(since, lasts_s))
    return Push(first_s, first_s + lasts_s, solution[4], (otherwise - left) / variance, aside_s)


def _course(since_s: Floats, lasts_s: float) -> Floats:
    """(N, 5) what a place is made of: a parabola, a bend as drag or drive change with the speed, and the push."""
    bend = np.clip(since_s - lasts_s / 2, 0.0, None) ** 2
    return np.stack([np.ones_like(since_s), since_s, since_s**2, bend, _way(since_s, lasts_s)], axis=1)


def _way(since_s: Floats, lasts_s: float) -> Floats:
    """Way made by a push that adds 1 mm/s from 0 to `lasts_s`; its force grows and falls as half a sine wave."""
    during = np.clip(since_s, 0.0, lasts_s)
    way: Floats = during / 2 - lasts_s / (2 * np.pi) * np.sin(np.pi * during / lasts_s)
    return way + np.clip(since_s - lasts_s, 0.0, None)


def _lookalikes(since_s: Floats, lasts_s: float) -> Iterator[Floats]:
    """What may have happened instead, as a way of its own."""
    yield since_s**3
    for bend_s in (-lasts_s / 2, 0.0, lasts_s, 1.5 * lasts_s):
        yield np.clip(since_s - bend_s, 0.0, None) ** 2
        yield np.asarray(since_s > bend_s, np.float64)
    yield np.asarray((since_s > 0) & (since_s < lasts_s), np.float64)


def _misfit(course: Floats, seen: Floats) -> float:
    """Sum of squares that a least-squares course leaves."""
    base, _ = np.linalg.qr(course)
    return float(((seen - base @ (base.T @ seen)) ** 2).sum())
