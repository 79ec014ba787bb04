"""The pictures of a recording, in brightness or in one colour."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.recording.folder import Recording
from logger.vision.background import Grey

Colour = NDArray[np.uint8]


class StoredFilm:
    """The film of a recording: its brightness, or one of its colours."""

    def __init__(self, recording: Recording, channel: int | None = None) -> None:
        self._recording, self._channel = recording, channel

    @property
    def count(self) -> int:
        """How many pictures have a stamp."""
        stamps = self._recording.stamps
        return 0 if stamps is None else len(stamps.t_ns)

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, Grey]]:
        """(number, picture) of the wanted ones that can be decoded, in order; of all if None."""
        chosen = None if wanted is None else frozenset(wanted)
        for frame in self._recording.frames(grey=self._channel is None, wanted=chosen):
            yield frame.sequence, frame.image if self._channel is None else one_colour(frame.image, self._channel)


def one_colour(picture: Colour, channel: int) -> Grey:
    """(h, w) blue (0), green (1) or red (2) of a picture (h, w, 3)."""
    return np.asarray(cv2.extractChannel(picture, channel), np.uint8)
