"""The pictures of a recording, in brightness or in one colour."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.recording import jpeg
from logger.recording.folder import Recording
from logger.records import Frame
from logger.vision.background import Grey
from logger.vision.glance import Whole

Colour = NDArray[np.uint8]

_KEPT_COUNT = 64
"""So many JPEGs are kept as they are for `in_colour`."""


class StoredFilm:
    """The film of a recording: its brightness, or one of its colours."""

    def __init__(self, recording: Recording, channel: int | None = None) -> None:
        self._recording, self._channel = recording, channel
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

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, Grey]]:
        """(number, picture) of the wanted ones that can be decoded, in order; of all if None."""
        chosen = None if wanted is None else frozenset(wanted)
        for frame in self._recording.frames(grey=self._channel is None, wanted=chosen):
            if frame.jpeg is not None and len(self._kept) < _KEPT_COUNT:
                self._kept[frame.sequence] = frame.jpeg
            yield frame.sequence, self._of(frame.image)

    def in_colour(self, wanted: Sequence[int]) -> dict[int, Colour]:
        """(h, w, 3) BGR of the wanted ones by number; cheap for the first that `pictures` handed out."""
        if not all(n in self._kept for n in wanted):
            return {frame.sequence: frame.image for frame in self._recording.frames(wanted=frozenset(wanted))}
        decoded = {n: jpeg.decode(self._kept[n], grey=False) for n in wanted}
        return {n: picture for n, picture in decoded.items() if picture is not None}

    def upper(self, rows_px: Mapping[int, int]) -> Iterable[tuple[int, Grey, Whole]]:
        """(number, so many upper rows or more, how to get all of it) of pictures by their numbers, in order.

        A picture that lost a part on its way may be shifted without a sign; the whole of it is None then.
        """
        is_grey = self._channel is None
        for frame in self._recording.frames(grey=is_grey, wanted=rows_px.keys(), upper_px=rows_px):
            yield frame.sequence, self._of(frame.image), partial(self._whole, frame)

    def _whole(self, frame: Frame) -> Grey | None:
        if frame.jpeg is None:
            return self._of(frame.image)
        image = jpeg.decode(frame.jpeg, grey=self._channel is None)
        return None if image is None else self._of(image)

    def _of(self, image: NDArray[np.uint8]) -> Grey:
        return image if self._channel is None else one_colour(image, self._channel)


def one_colour(picture: Colour, channel: int) -> Grey:
    """(h, w) blue (0), green (1) or red (2) of a picture (h, w, 3)."""
    return np.asarray(cv2.extractChannel(picture, channel), np.uint8)
