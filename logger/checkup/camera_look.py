"""A first look through the camera: do pictures come, of the right size, often enough, light and sharp?"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.steady import still
from logger.checkup import first_pictures
from logger.drivers.interface import Finding
from logger.records import Frame

Grey = NDArray[np.uint8]
PART = "camera"
LOOK_S = 2.0
"""How long pictures are watched once they come."""
NONE_AFTER_S = 6.0
"""A camera sends its first picture within this time or not at all."""
STILLS_COUNT, STILL_EVERY_NS = 9, 150_000_000
RATE_OFF_SHARE = 0.1
MISSING_SHARE = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Pictures:
    """What the first pictures came to."""

    still: Grey
    """One grey picture of several, without what passed by."""
    bytes_per_s: float | None
    """How fast they fill the disk; None if the camera does not compress them."""


class CameraLook:
    """Is shown the camera's pictures; tells what they are worth."""

    def __init__(
        self,
        *,
        asked_hz: float | None,
        size_px: tuple[int, int] | None,
        tests_itself: bool,
        none_after_s: float = NONE_AFTER_S,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Begin.

        Args:
            asked_hz: Pictures a second that the rig file asks for.
            size_px: Width and height that the calibration holds for.
            tests_itself: The driver tells of rate and exposure itself.
            none_after_s: Without any picture after this long, none will come.
            now_s: The clock for how long to look.
        """
        self._asked_hz, self._size_px, self._tests_itself, self._now_s = asked_hz, size_px, tests_itself, now_s
        self._begun_s, self._none_after_s = now_s(), none_after_s
        self._first_s: float | None = None
        self._kept: list[Frame] = []
        self._stamps_ns: list[int] = []
        self._sequences: list[int] = []
        self._exposures: set[int] = set()
        self._bytes: list[int] = []

    def hear(self, frame: Frame) -> None:
        """A picture came."""
        if self._first_s is None:
            self._first_s = self._now_s()
        self._stamps_ns.append(frame.t_ns)
        self._sequences.append(frame.sequence)
        self._exposures.add(frame.exposure_ns)
        if frame.jpeg is not None:
            self._bytes.append(len(frame.jpeg))
        if len(self._kept) < STILLS_COUNT and (not self._kept or frame.t_ns - self._kept[-1].t_ns >= STILL_EVERY_NS):
            self._kept.append(frame)

    def is_enough(self) -> bool:
        """Whether there is nothing more to be learnt."""
        now_s = self._now_s()
        if self._first_s is None:
            return now_s - self._begun_s > self._none_after_s
        seen_s = max(now_s - self._first_s, (self._stamps_ns[-1] - self._stamps_ns[0]) / 1e9)  # a replay is quicker
        return seen_s > LOOK_S and len(self._kept) >= 3

    def pictures(self) -> Pictures | None:
        """What is left of them; None if none came."""
        greys = [_grey(frame) for frame in self._kept]
        alike = [grey for grey in greys if grey.shape == greys[0].shape]
        if not alike:
            return None
        rate_hz = self._rate_hz() or self._asked_hz
        filled = float(np.mean(self._bytes)) * rate_hz if self._bytes and rate_hz else None
        return Pictures(still(alike), filled)

    def findings(self, pictures: Pictures | None) -> Iterator[Finding]:
        """What is to be said of the camera."""
        if pictures is None:
            cure = "look at its cable and plug, and that no other program uses it"
            yield Finding(PART, "wrong", "no picture came", cure)
            return
        yield self._size(pictures)
        if not self._tests_itself:
            yield self._rate()
            yield from self._exposure()
        yield from first_pictures.findings(pictures.still, part=PART)

    def _size(self, pictures: Pictures) -> Finding:
        height_px, width_px = pictures.still.shape
        found, part = f"pictures of {width_px} x {height_px}", f"{PART}: size"
        if self._size_px is None or self._size_px == (width_px, height_px):
            return Finding(part, "well", found)
        wanted = f"{self._size_px[0]} x {self._size_px[1]}"
        cure = f"ask the camera for {wanted} (width_px, height_px), or calibrate it for its present size"
        return Finding(part, "wrong", f"{found}; the calibration holds for {wanted} only", cure)

    def _rate_hz(self) -> float | None:
        """By stamps and running numbers: pictures a second that the camera took, missing ones counted."""
        span_ns = self._stamps_ns[-1] - self._stamps_ns[0]
        taken = self._sequences[-1] - self._sequences[0]
        return taken * 1e9 / span_ns if span_ns > 0 and taken > 1 else None

    def _rate(self) -> Finding:
        part, rate_hz = f"{PART}: rate", self._rate_hz()
        if rate_hz is None:
            return Finding(part, "doubtful", "too few pictures came to tell the rate", "look again")
        taken = self._sequences[-1] - self._sequences[0] + 1
        missing = taken - len(self._sequences)
        found = f"{rate_hz:.1f} pictures a second by their stamps, {missing} of {taken} missing"
        if self._asked_hz is not None and abs(rate_hz / self._asked_hz - 1) > RATE_OFF_SHARE:
            cure = "give more light and expose shorter, or ask for another rate"
            return Finding(part, "doubtful", f"{found}; {self._asked_hz:g} asked", cure)
        if missing > MISSING_SHARE * taken:
            return Finding(part, "doubtful", found, "give the camera a port of its own; end other programs")
        return Finding(part, "well", found)

    def _exposure(self) -> Iterator[Finding]:
        if len(self._exposures) > 1:
            least, most = (value / 1e6 for value in (min(self._exposures), max(self._exposures)))
            found = f"it changes by itself, {least:.1f} to {most:.1f} ms"
            yield Finding(f"{PART}: exposure", "doubtful", found, "fix it with exposure_us in the rig file")


def _grey(frame: Frame) -> Grey:
    image = frame.image
    return np.asarray(image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)
