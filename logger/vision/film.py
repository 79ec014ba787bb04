"""The pictures of a recording, in brightness or as their colours make it; put right where a watched camera moved."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from heapq import merge
from operator import itemgetter
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.recording import jpeg
from logger.recording.folder import Recording
from logger.records import Frame
from logger.vision.background import Grey
from logger.vision.glance import Whole, evenly
from logger.vision.plane import Floats, Windowed
from logger.vision.shelf import COLOUR, GREY, Shelf
from logger.vision.watch.steadiness import Watch, watch

Colour = NDArray[np.uint8]
Made: TypeAlias = Callable[[Colour], Grey]
"""Makes a picture (h, w) of one in colours (h, w, 3)."""

_KEPT_COUNT = 64
"""So many JPEGs are kept as they are for `in_colour`."""

_BLOCK_PX = 16
"""Whole blocks of any JPEG."""


class Unmade:
    """A picture that is made of a coloured one only where it is looked at."""

    def __init__(self, colour: Windowed, how: Made) -> None:
        self._colour, self._how = colour, how

    def __len__(self) -> int:
        """How many rows there are."""
        return len(self._colour)

    def __getitem__(self, window: tuple[slice, slice], /) -> Grey:
        """(rows, columns) of a window."""
        part = self._colour[window]
        return self._how(part) if part.size else part[..., 0]


class StoredFilm:
    """The film of a recording: its brightness, one of its colours, or what is made of all three."""

    def __init__(
        self,
        recording: Recording,
        channel: int | Made | None = None,
        watch: Watch | None = None,
        shelf: Shelf | None = None,
    ) -> None:
        self._recording, self._channel = recording, channel
        self.watch = watch
        """Sees every picture that is handed out, and puts it back if the camera has moved."""
        self._shelf = Shelf(is_open=False) if shelf is None else shelf
        self._kept: dict[int, bytes] = {}

    @property
    def is_grey(self) -> bool:
        """Whether it shows brightness, not one colour."""
        return self._channel is None

    @property
    def count(self) -> int:
        """How many pictures have a stamp."""
        stamps = self._recording.stamps
        return 0 if stamps is None else len(stamps.t_ns)

    def in_one_colour(self, channel: int) -> StoredFilm:
        """The same film, as well watched, in blue (0), green (1) or red (2)."""
        return StoredFilm(self._recording, channel, self.watch, self._shelf)

    def made(self, how: Made) -> StoredFilm:
        """The same film, as well watched, of pictures that `how` makes of the coloured ones."""
        return StoredFilm(self._recording, how, self.watch, self._shelf)

    @contextmanager
    def at_hand(self, pictures: Mapping[int, Grey]) -> Iterator[None]:
        """As long as this lasts the same pictures are decoded once for this film and all that are made of it.

        Args:
            pictures: of this film, those that are decoded already.
        """
        with self._shelf.opened():
            for number, picture in pictures.items():
                self._shelf.put(number, picture, GREY)
            yield

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, Grey]]:
        """(number, picture) of the wanted ones that can be decoded, in order; of all if None."""
        done = {} if wanted is None else self._shelf.held(wanted, self._kind)
        rest = None if wanted is None else frozenset(wanted) - done.keys()
        yield from merge(done.items(), self._fresh(rest), key=itemgetter(0))

    def _fresh(self, wanted: frozenset[int] | None) -> Iterator[tuple[int, Grey]]:
        """(number, picture) that are not at hand as they are wanted."""
        held = {} if wanted is None or self.is_grey else self._shelf.held(wanted, COLOUR)
        rest = None if wanted is None else wanted - held.keys()
        decoded = self._decoded(rest) if rest is None or rest else ()
        for number, picture in merge(held.items(), decoded, key=itemgetter(0)):
            shown = self._of(picture)
            if not isinstance(self._channel, int):
                self._shelf.put(number, shown, self._kind)
            yield number, shown

    @property
    def _kind(self) -> Hashable:
        return GREY if self._channel is None else self._channel

    def _decoded(self, wanted: frozenset[int] | None) -> Iterator[tuple[int, NDArray[np.uint8]]]:
        """(number, picture), grey or BGR, as the camera would have seen it had it not moved."""
        for frame in self._recording.frames(grey=self.is_grey, wanted=wanted):
            if frame.jpeg is not None and len(self._kept) < _KEPT_COUNT:
                self._kept[frame.sequence] = frame.jpeg
            picture = self.as_it_stood(frame.sequence, frame.image)
            if not self.is_grey:
                self._shelf.put(frame.sequence, picture, COLOUR)
            yield frame.sequence, picture

    def _steadied(self, number: int, image: NDArray[np.uint8]) -> Windowed:
        """The same as `as_it_stood`, put back only where it is looked at."""
        if self.watch is None or self.watch.look(number, image).is_still:
            return image
        return self.watch.steadied(number, image)

    def as_it_stood(self, number: int, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The picture `number` (grey or BGR, upper rows at least) as the camera would have seen it had it not moved."""
        if self.watch is None:
            return image
        move = self.watch.look(number, image)
        return image if move.is_still else self.watch.put_back(number, image)

    def upper_in_colour(self, wanted: Sequence[int], rows_px: int) -> dict[int, Windowed]:
        """So many upper rows or more, BGR, of the wanted ones by number, in which the boat was found (see `upper`)."""
        upper = dict.fromkeys(wanted, _BLOCK_PX * -(-rows_px // _BLOCK_PX))
        frames = self._recording.frames(wanted=frozenset(wanted), upper_px=upper)
        return {frame.sequence: self._steadied(frame.sequence, frame.image) for frame in frames}

    def in_colour(self, wanted: Sequence[int]) -> dict[int, Colour]:
        """(h, w, 3) BGR of the wanted ones by number; cheap for the first that `pictures` handed out."""
        found = self._shelf.held(wanted, COLOUR)
        for number, picture in self._coloured([n for n in wanted if n not in found]):
            found[number] = self.as_it_stood(number, picture)
            self._shelf.put(number, found[number], COLOUR)
        return dict(sorted(found.items()))

    def _coloured(self, wanted: Sequence[int]) -> Iterator[tuple[int, Colour]]:
        if not all(n in self._kept for n in wanted):
            yield from ((frame.sequence, frame.image) for frame in self._recording.frames(wanted=frozenset(wanted)))
            return
        for number in wanted:
            if (picture := jpeg.decode(self._kept[number], grey=False)) is not None:
                yield number, picture

    def upper(self, rows_px: Mapping[int, int]) -> Iterable[tuple[int, Windowed, Whole]]:
        """(number, so many upper rows or more, how to get all of it) of pictures by their numbers, in order.

        A picture that lost a part on its way may be shifted without a sign; the whole of it is None then.
        """
        is_grey = self._channel is None
        least = 0 if self.watch is None else _BLOCK_PX * -(-self.watch.rows_px // _BLOCK_PX)
        upper_px = {number: max(rows, least) for number, rows in rows_px.items()}
        for frame in self._recording.frames(grey=is_grey, wanted=upper_px.keys(), upper_px=upper_px):
            whole = partial(self._whole, frame)
            if self.watch is not None and self.watch.needs_more(frame.sequence, frame.image):
                whole()
            yield frame.sequence, self._windowed(self._steadied(frame.sequence, frame.image)), whole

    def _whole(self, frame: Frame) -> Windowed | None:
        image = frame.image if frame.jpeg is None else jpeg.decode(frame.jpeg, grey=self._channel is None)
        return None if image is None else self._windowed(self._steadied(frame.sequence, image))

    def _windowed(self, image: Windowed) -> Windowed:
        return image if self.is_grey else Unmade(image, self._of)

    def _of(self, image: NDArray[np.uint8]) -> Grey:
        if self._channel is None:
            return image
        return one_colour(image, self._channel) if isinstance(self._channel, int) else self._channel(image)


def watched(recording: Recording, water_px: Floats) -> tuple[StoredFilm, dict[int, Grey]]:
    """The grey film, watched if anything about the water (N, 2 corners) tells; with pictures from all over it."""
    film = StoredFilm(recording)
    pictures = dict(film.pictures(evenly(film.count)))
    film.watch = watch(pictures, water_px)
    return film, {number: film.as_it_stood(number, picture) for number, picture in pictures.items()}


def one_colour(picture: Colour, channel: int) -> Grey:
    """(h, w) blue (0), green (1) or red (2) of a picture (h, w, 3)."""
    return np.asarray(cv2.extractChannel(picture, channel), np.uint8)
