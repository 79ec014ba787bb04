"""Pictures that are at hand for a while: several films look at the same ones."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]

_MOST_COUNT = 48
"""So many grey ones, and so many in colours, are held at most: those that were put there first."""


class Shelf:
    """Holds pictures by number, grey (h, w) and BGR (h, w, 3), while it is open."""

    def __init__(self, *, is_open: bool) -> None:
        self._is_open = is_open
        self._grey: dict[int, Picture] = {}
        self._colour: dict[int, Picture] = {}

    @contextmanager
    def opened(self) -> Iterator[None]:
        """Open while this lasts; empty afterwards."""
        self._is_open = True
        try:
            yield
        finally:
            self._is_open = False
            self._grey.clear()
            self._colour.clear()

    def put(self, number: int, picture: Picture) -> None:
        """Hold it, if there is room."""
        some = self._grey if picture.ndim == 2 else self._colour
        if self._is_open and len(some) < _MOST_COUNT:
            some[number] = picture

    def held(self, wanted: Iterable[int], *, is_grey: bool) -> dict[int, Picture]:
        """The wanted ones that are here, by number."""
        some = self._grey if is_grey else self._colour
        return {number: some[number] for number in wanted if number in some}
