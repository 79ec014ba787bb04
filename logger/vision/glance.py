"""A first look at a film: some pictures spread evenly over it, reduced, and what stands out in them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from logger.vision import background, sightings
from logger.vision.background import Grey
from logger.vision.ground import SHRINK, Ground
from logger.vision.plane import Plane, Singles, Windowed
from logger.vision.sightings import Sighting

_EVENLY_COUNT = 28
_CORE = 0.3
"""Half the side of the square in a boat's middle in which its contrast is taken, as a share of its size."""


Whole = Callable[[], Windowed | None]
"""Decodes the whole of a picture; None if it is damaged."""


class Pictures(Protocol):
    """Pictures by number, grey, handed out in rising order."""

    @property
    def count(self) -> int:
        """How many there are."""
        ...

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, Grey]]:
        """(number, picture) of the wanted ones that can be decoded; of all if None."""
        ...


class Film(Pictures, Protocol):
    """Pictures of a whole run."""

    def upper(self, rows_px: Mapping[int, int]) -> Iterable[tuple[int, Windowed, Whole]]:
        """(number, so many upper rows or more, how to get all of it) of pictures by their numbers.

        A picture that lost a part on its way may be shifted without a sign; the whole of it is None then.
        """
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Glance:
    """What a first look shows. N pictures."""

    pictures: Mapping[int, Grey]
    """By their number, full size."""
    empty: Singles
    """First idea of the empty tank, reduced."""
    noise_grey: float
    size_px: float
    """Square root of the boat's area in a reduced picture."""
    rows: Mapping[int, list[Sighting]]
    """By the picture's number: what may be the boat."""
    seen: Sequence[Sighting | None]
    """(N,) the boat."""
    contrast: float
    """Typical difference between boat and empty tank, grey levels; 0 if no boat is seen."""

    def further(self, pictures: Mapping[int, Grey], ground: Ground) -> dict[int, list[Sighting]]:
        """What may be the boat in more pictures of the same film."""
        if not pictures:
            return {}
        apart, _ = sightings.differences(_small(pictures), self.empty)
        return dict(zip(sorted(pictures), _rows(apart, self.noise_grey, self.size_px, ground), strict=True))


def evenly(count: int) -> list[int]:
    """The numbers of the pictures that are looked at, of a film of `count`."""
    return sorted({int(n) for n in np.linspace(0, count - 1, min(_EVENLY_COUNT, count)).round()})


def glance(pictures: Mapping[int, Grey], plane: Plane, ground: Ground) -> Glance | str:
    """A first look at pictures of a film; a sentence if there is nothing to look at."""
    if len(pictures) < 3:
        return "fewer than three pictures can be decoded"
    stack = _small(pictures)
    empty = background.first_guess(stack, ground.start_zone)
    apart, noise = sightings.differences(stack, empty)
    size_px = _size_px(ground, plane, apart, noise)
    rows = _rows(apart, noise, size_px, ground)
    seen = sightings.path(rows, size_px=size_px)
    by_number = dict(zip(sorted(pictures), rows, strict=True))
    return Glance(pictures, empty, noise, size_px, by_number, seen, _contrast(apart, seen, _CORE * size_px))


def _rows(apart: Singles, noise: float, size_px: float, ground: Ground) -> list[list[Sighting]]:
    return [sightings.candidates(one, noise=noise, size_px=size_px, tank=ground.tank) for one in apart]


def _small(pictures: Mapping[int, Grey]) -> NDArray[np.uint8]:
    return np.stack([sightings.shrunk(pictures[n]) for n in sorted(pictures)])


def _size_px(ground: Ground, plane: Plane, apart: Singles, noise: float) -> float:
    if ground.size_mm is None:
        return max(3.0, sightings.size_of_largest(apart, noise))
    return max(3.0, ground.size_mm / plane.step_mm(plane.foot_mm) / SHRINK)


def _contrast(apart: Singles, seen: Sequence[Sighting | None], reach_px: float) -> float:
    reach = max(1, round(reach_px))
    cores = [
        picture[max(int(at.v) - reach, 0) : int(at.v) + reach + 1, max(int(at.u) - reach, 0) : int(at.u) + reach + 1]
        for picture, at in zip(apart, seen, strict=True)
        if at is not None
    ]
    return float(np.median([core.mean() for core in cores])) if cores else 0.0
