"""Pictures that are at hand for a while: several films look at the same ones."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator
from contextlib import contextmanager

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]

_MOST_COUNT, _MOST_IN_COLOURS_COUNT = 48, 28
"""So many of a kind are held at most, and of those in colours, which are three times as large: the first ones."""
GREY, COLOUR = "grey", "colour"


class Shelf:
    """Holds pictures by number while it is open: grey (h, w), BGR (h, w, 3), and one kind made of these."""

    def __init__(self, *, is_open: bool) -> None:
        self._is_open = is_open
        self._of: dict[Hashable, dict[int, Picture]] = {}

    @contextmanager
    def opened(self) -> Iterator[None]:
        """Open while this lasts; empty afterwards."""
        self._is_open = True
        try:
            yield
        finally:
            self._is_open = False
            self._of.clear()

    def put(self, number: int, picture: Picture, kind: Hashable) -> None:
        """Hold it, if there is room; of the kinds that are neither grey nor in colours the last one only."""
        if not self._is_open:
            return
        if kind not in self._of:
            for other in [other for other in self._of if other not in (GREY, COLOUR)]:
                del self._of[other]
            self._of[kind] = {}
        if len(self._of[kind]) < (_MOST_IN_COLOURS_COUNT if kind == COLOUR else _MOST_COUNT):
            self._of[kind][number] = picture

    def held(self, wanted: Iterable[int], kind: Hashable) -> dict[int, Picture]:
        """The wanted ones of a kind that are here, by number, in order."""
        some = self._of.get(kind, {})
        return {number: some[number] for number in sorted(wanted) if number in some}
