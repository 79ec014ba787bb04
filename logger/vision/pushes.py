"""Moments in which a boat's speed was changed in a moment: by a push, a knock, a wall.

Water and drive change a boat's speed slowly: over a second its place is a parabola of time, with a bend where the drive
begins or ends. A push adds to the speed within some tenths of a second, and what it added stays. It is believed only
where it explains the places much better than all that may look like it:

- the acceleration changed (released, power cut), or changed steadily,
- the boat was only misread: its place jumped, or was aside for as long (something hid a part of it).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_ASIDE_S = (0.55, 0.3)
"""So much of the way before and after a push tells what it changed: less where the power was cut soon before."""
_FEWEST_COUNT = 5
"""Pictures in which the boat is wanted before and after."""
_LASTS_S = (0.1, 0.2, 0.3, 0.4, 0.7)
_FIRST_LASTS_S = 0.2
"""How long pushes last. All are tried where the first looks promising."""
_PROMISING, _LIKELY, _CLEAR = 20.0, 60.0, 100.0
"""By how many times the variance of the places the squared misfit must fall."""
_NEARLY = 0.9
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
    found = [push for first in t_s if (push := _from(float(first), t_s, place_mm)) is not None]
    found.sort(key=lambda push: -push.clearness)
    kept: list[Push] = []
    for push in found:
        if all(push.from_s > other.to_s + _APART_S or push.to_s < other.from_s - _APART_S for other in kept):
            kept.append(push)
    finer = (_finer(push, t_s, place_mm) for push in kept)
    return sorted((push for push in finer if push.clearness > _CLEAR), key=lambda push: push.from_s)


def _from(first_s: float, t_s: Floats, place_mm: Floats) -> Push | None:
    """The clearest push that begins at `first_s`, if it is clear enough."""
    tried: list[Push] = []
    for aside_s in _ASIDE_S:
        glance = _push(first_s, _FIRST_LASTS_S, t_s, place_mm, aside_s)
        if glance is not None and glance.clearness > _PROMISING:
            pushes = (_push(first_s, lasts_s, t_s, place_mm, aside_s) for lasts_s in _LASTS_S)
            tried += [glance, *(push for push in pushes if push is not None)]
    if not tried:
        return None
    best = max(tried, key=lambda push: push.clearness)
    is_it = best.clearness > _LIKELY and np.hypot(*best.change_mm_per_s) > _LEAST_MM_PER_S
    return best if is_it else None


def _finer(push: Push, t_s: Floats, place_mm: Floats) -> Push:
    """The longest of the nearly clearest near one that was looked for in steps of a picture.

    How long a force lasted shows in few pictures, so that the clearest is too short as often as too long.
    """
    step = float(np.median(np.diff(t_s)))
    lasts_s = push.to_s - push.from_s
    nearby = product(np.linspace(-1.5, 1.5, 9) * step, np.linspace(-0.09, 0.15, 9))
    tried = [
        _push(push.from_s + later, max(lasts_s + longer, 0.02), t_s, place_mm, push.aside_s) for later, longer in nearby
    ]
    found = [push, *(other for other in tried if other is not None)]
    enough = _NEARLY * max(other.clearness for other in found)
    return max((other for other in found if other.clearness >= enough), key=lambda other: other.to_s - other.from_s)


def _push(first_s: float, lasts_s: float, t_s: Floats, place_mm: Floats, aside_s: float) -> Push | None:
    """The push in just that time; None: nothing happened, or too little is seen of the boat before or after."""
    near = slice(*np.searchsorted(t_s, [first_s - aside_s, first_s + lasts_s + aside_s]))
    since, seen = t_s[near] - first_s, place_mm[near]
    if min(np.count_nonzero(since < 0), np.count_nonzero(since > lasts_s)) < _FEWEST_COUNT:
        return None
    smooth = np.stack([np.ones_like(since), since, since**2], axis=1)
    if _misfit(smooth, seen) < _PROMISING * _U_PLACE_MM**2:
        return None
    course = np.column_stack([smooth, _way(since, lasts_s)])
    solution, *_ = np.linalg.lstsq(course, seen, rcond=None)
    left = float(((seen - course @ solution) ** 2).sum())
    variance = max(left / (seen.size - 8), _U_PLACE_MM**2)
    otherwise = min(_misfit(np.column_stack([smooth, other]), seen) for other in _lookalikes(since, lasts_s))
    return Push(first_s, first_s + lasts_s, solution[3], (otherwise - left) / variance, aside_s)


def _way(since_s: Floats, lasts_s: float) -> Floats:
    """Way made by a push that adds 1 mm/s from 0 to `lasts_s`; its force grows and falls as half a sine wave."""
    during = np.clip(since_s, 0.0, lasts_s)
    way: Floats = during / 2 - lasts_s / (2 * np.pi) * np.sin(np.pi * during / lasts_s)
    return way + np.clip(since_s - lasts_s, 0.0, None)


def _lookalikes(since_s: Floats, lasts_s: float) -> Iterator[Floats]:
    """What may have happened instead, as a way of its own."""
    yield since_s**3
    for bend_s in (0.0, lasts_s / 2, lasts_s):
        yield np.clip(since_s - bend_s, 0.0, None) ** 2
        yield np.asarray(since_s > bend_s, np.float64)
    yield np.asarray((since_s > 0) & (since_s < lasts_s), np.float64)


def _misfit(course: Floats, seen: Floats) -> float:
    """Sum of squares that a least-squares course leaves."""
    base, _ = np.linalg.qr(course)
    return float(((seen - base @ (base.T @ seen)) ** 2).sum())
