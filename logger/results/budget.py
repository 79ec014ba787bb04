"""Measures of a motion -> quantities with their budgets.

Systematic: every source of the track by moving the whole motion by that source, f(shifted) - f(motion), sign kept.
Random: by drawing whole curves from the smoother's joint distribution (JCGM 101:2008, clause 7), so that errors
correlated in time and a measure that bends (near rest, at a wall, a maximum) are taken as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

import numpy as np

from calibration.quantity import Quantity, Source
from logger.config import Boat
from logger.results import sources
from logger.results.motion import Motion
from logger.results.trial import NotMeasured

DRAWS = 200
"""So many curves give a standard deviation to 5 %."""

Measures = Callable[[Motion], Mapping[str, float] | NotMeasured]
"""Several measures of one motion under their names."""


@dataclass(frozen=True, slots=True)
class Owner:
    """Whose run it is: decides how far its sources of doubt reach (see sources.py)."""

    run_id: str
    boat: Boat


def quantities(
    measures: Measures,
    motion: Motion,
    owner: Owner,
    *,
    units: Mapping[str, str],
    seed: int,
    peaks: Collection[str] = (),
) -> dict[str, Quantity] | NotMeasured:
    """The values of `measures` on the motion, each with all its contributions.

    Args:
        measures: f(motion); NotMeasured where it has no answer.
        motion: as measured, not a draw.
        owner: of the run.
        units: of each value, by its name.
        seed: same seed, same digits.
        peaks: names of greatest or least values. Noise can only raise a greatest one, on the measured curve as much as
            on a curve drawn around it; the mean excess of the draws over the measured value is therefore taken off
            (parametric bootstrap; Efron & Tibshirani, An Introduction to the Bootstrap, 10.6).
    """
    value = measures(motion)
    if isinstance(value, NotMeasured):
        return value
    names = list(value)
    middle = np.array([value[name] for name in names])
    systematic = _systematic(measures, motion, names, middle, owner)
    drawn = np.array([[v[n] for n in names] for m in motion.draws(DRAWS, seed) if (v := measures(m))])
    if len(drawn) < DRAWS // 2:
        return NotMeasured("The positions are too doubtful: most runs that fit them equally well give no answer.")
    excess = drawn.mean(axis=0) - middle
    spread = drawn.std(axis=0, ddof=1)
    random = noise_of(owner)
    found: dict[str, Quantity] = {}
    for i, name in enumerate(names):
        peak = name in peaks
        parts = {s: float(c[i]) for s, c in systematic.items()}
        parts[random] = float(spread[i])
        found[name] = Quantity(float(middle[i] - excess[i] if peak else middle[i]), units[name], parts)
    return found


def noise_of(owner: Owner) -> Source:
    """What the fixes scatter, new in every picture."""
    return sources.of_run("noise of the positions", owner.run_id)


def _systematic(
    measures: Measures, motion: Motion, names: list[str], middle: np.ndarray, owner: Owner
) -> dict[Source, np.ndarray]:
    """Source -> by how much each measure moves."""
    moved: dict[Source, np.ndarray] = {}
    for name in motion.shifts:
        value = measures(motion.shifted(name))
        if not isinstance(value, NotMeasured):
            moved[sources.of_track(name, owner.boat)] = np.array([value[n] for n in names]) - middle
    return moved


def plus(quantity: Quantity, parts: Mapping[Source, float]) -> Quantity:
    """The quantity with further contributions of the same unit."""
    more = Quantity(0.0, quantity.unit, parts)
    return Quantity.linear(quantity.value, quantity.unit, [(1, quantity), (1, more)])
