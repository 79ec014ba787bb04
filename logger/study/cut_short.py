"""Does something grow or fall, where some runs were cut short and say only "at least"? The way of it, and no slope.

To leave such runs out bends a line, as they are those that went farthest; to take them for exact does so too. Here
every run is compared with every other, and only what is sure counts: a run is surely more than another if it went
farther than that one's exact value (Gehan 1965, Biometrika 52:203). Of how many it is surely more, less of how many
it is surely less, is a run's score; whether scores go along with what was changed is judged by shuffling (Mantel
1967, Biometrics 23:65), which asks for no bell curve and is right for the few runs of a class as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.study.compare import PROBABILITY
from logger.study.effects import within

Floats = NDArray[np.float64]
_SHUFFLES_COUNT = 9999
_SEED = 1
"""The same runs are always told the same."""


@dataclass(frozen=True, slots=True)
class Way:
    """Whether values grow or fall with something."""

    sign: int
    """1: they grow, -1: they fall, 0: neither; a plain number."""
    chance: float
    """How likely runs among which nothing goes along would show as much, one way or the other."""

    @property
    def is_clear(self) -> bool:
        """Whether it is more than chance explains."""
        return self.sign != 0 and self.chance < 1 - PROBABILITY


def scores(values: Sequence[float], floors: Sequence[bool], blocks: Sequence[str] = ()) -> Floats:
    """For each run, of how many it is surely more less of how many it is surely less, among those of its block.

    Args:
        values: what each came to.
        floors: whether that is only a lower bound.
        blocks: whose run it was; runs of one block only are compared. All are one block if none are given.
    """
    y, cut = np.asarray(values, np.float64), np.asarray(floors, np.bool_)
    names = np.asarray(list(blocks) or [""] * len(y))
    more = (y[:, None] > y) | ((y[:, None] == y) & cut[:, None])
    more &= ~cut & (names[:, None] == names)
    return np.asarray(more.sum(axis=1) - more.sum(axis=0), np.float64)


def way(along: Sequence[float], values: Sequence[float], floors: Sequence[bool], blocks: Sequence[str] = ()) -> Way:
    """Whether `values` go along with `along`, `floors` of them being lower bounds; blocks as in `scores`."""
    names = list(blocks) or [""] * len(along)
    off, own = within(np.asarray(along, np.float64), names), scores(values, floors, names)
    seen = float(off @ own)
    shuffled = np.zeros(_SHUFFLES_COUNT)
    lot = np.random.default_rng(_SEED)
    for block in dict.fromkeys(names):
        inside = [at for at, name in enumerate(names) if name == block]
        shuffled += lot.permuted(np.tile(off[inside], (_SHUFFLES_COUNT, 1)), axis=1) @ own[inside]
    as_much = int(np.sum(np.abs(shuffled) >= abs(seen) * (1 - 1e-9)))
    # the shuffle that was really run is one of them (Phipson & Smyth 2010)
    return Way(int(np.sign(seen)), (as_much + 1) / (_SHUFFLES_COUNT + 1))
