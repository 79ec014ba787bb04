"""A JPEG is decoded if it is whole, and not at all if it is not (markers after ITU-T T.81, Annex B).

Most decoders make a picture of almost anything: half a JPEG gives half a picture above a grey field, a packet lost on
the way from the camera shifts all that is below. For a measurement such a picture is worse than none. So two looks: a
quick one at the bytes, which tells torn and overwritten pictures without decoding them, and a strict decoder.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import simplejpeg
from numpy.typing import NDArray

MOST_EXTRA_BYTES = 8
START = b"\xff\xd8"
END = b"\xff\xd9"
_START_OF_SCAN = 0xDA
_NO_ENTROPY_CODE = re.compile(rb"\xff[^\x00\xc4\xd0-\xd7\xda\xdb\xdd\xff]")
"""In coded data 0xFF is followed by 0 or a restart marker; between scans tables may stand. All else is its end."""
_LEFT_OVER = re.compile(r"\d+ extraneous bytes before marker 0xd[0-79]$")
"""What a decoder says that has reached its last row, and not the end or a restart marker."""
_ONE_PASS = (0xC0, 0xC1)
"""Frames whose rows come one after the other: baseline and extended sequential (B.2.2)."""
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
"""Heads of a frame of whatever coding (B.2.2); the three others are tables and one for later use."""
_ZEROS = bytes(64)
"""No scan of a real picture has as many; a block that never reached the disk has hundreds."""


def decode(data: bytes, *, grey: bool) -> NDArray[np.uint8] | None:
    """The picture as stored, (height, width) brightness or (height, width, 3) BGR; None if anything is wrong."""
    colours = "GRAY" if grey else "BGR"
    try:
        image: NDArray[np.uint8] = simplejpeg.decode_jpeg(data, colours, strict=True)
    except ValueError as error:
        if not _is_harmless(str(error)):
            return None
        image = simplejpeg.decode_jpeg(data, colours, strict=False)
    return image[..., 0] if grey else image


def decode_upper(data: bytes, *, rows_px: int, of_px: int, grey: bool) -> NDArray[np.uint8] | None:
    """The upper `rows_px` rows of a JPEG of `of_px` rows, in half the time if it is half of them; None if it cannot be.

    The decoder is told of a lower picture and stops there; what is left over is no damage then. But a part that was
    lost on the way shifts all that is below it by whole blocks, and mostly shows at the very end only. So this is for
    whoever would notice such a shift, and then asks `decode`.

    Args:
        data: a JPEG.
        rows_px: a multiple of 16: whole blocks, whatever the colours' sampling.
        of_px: how many rows the whole picture must have.
        grey: (rows, width) brightness instead of (rows, width, 3) BGR.
    """
    at = _frame_index(data)
    if not at or int.from_bytes(data[at + 5 : at + 7], "big") != of_px or not 0 < rows_px < of_px:
        return None
    width = int.from_bytes(data[at + 7 : at + 9], "big")
    image = np.empty((rows_px, width, 1 if grey else 3), np.uint8)
    lower = data[: at + 5] + rows_px.to_bytes(2, "big") + data[at + 7 :]
    try:
        simplejpeg.decode_jpeg(lower, "GRAY" if grey else "BGR", strict=True, buffer=image)
    except ValueError as error:
        if not _LEFT_OVER.search(str(error)):
            return None
    return image[..., 0] if grey else image


def size_px(data: bytes) -> tuple[int, int]:
    """(width, height) as the picture's head says, without decoding it; (0, 0) if that cannot be read."""
    at = next((place for marker, place, _ in _segments(data) if marker in _FRAMES), 0)
    head = data[at + 5 : at + 9]
    if not at or len(head) < 4:
        return 0, 0
    return int.from_bytes(head[2:], "big"), int.from_bytes(head[:2], "big")


@dataclass(frozen=True, slots=True)
class Undecoded:
    """A whole JPEG that is decoded when it is called, for whoever looks at it live (`Frame.image`).

    What is measured goes through `decode`, which refuses a picture with the least damage. Here somebody wants to see
    something now: a damaged picture is shown as far as it goes, one that cannot be decoded at all is black.
    """

    data: bytes
    width_px: int
    height_px: int

    def __call__(self) -> NDArray[np.uint8]:
        """(height, width, 3) BGR, read-only."""
        image = decode(self.data, grey=False)
        if image is None:
            try:
                image = simplejpeg.decode_jpeg(self.data, "BGR", strict=False)
            except ValueError:
                image = np.zeros((self.height_px, self.width_px, 3), np.uint8)
        image.setflags(write=False)
        return image


def _is_harmless(trouble: str) -> bool:
    """Some cameras put a few bytes between the last block and the end marker (common practice, no source)."""
    found = re.search(r"(\d+) extraneous bytes before marker 0xd9", trouble)
    return found is not None and int(found[1]) <= MOST_EXTRA_BYTES


@dataclass(frozen=True, slots=True)
class Look:
    """What the bytes of a packet say of the JPEG at its start."""

    end_index: int | None
    """One past its end marker; None if it is cut short or disturbed."""
    is_whole: bool
    """It runs undisturbed from its start to its end marker."""
    is_torn: bool
    """It was cut short: it does not end anywhere, and not at the end of the packet."""
    has_more: bool
    """Something else than zeros stands behind it."""


def look(data: bytes) -> Look:
    """Look at the JPEG at the start of `data` without decoding it."""
    scan = _scan_index(data)
    found = _NO_ENTROPY_CODE.search(data, scan) if scan else None
    if found is None or found[0] != END:
        return Look(None, is_whole=False, is_torn=not data.rstrip(b"\0").endswith(END), has_more=False)
    end = found.end()
    return Look(end, data.find(_ZEROS, scan, end) < 0, is_torn=False, has_more=bool(data[end:].rstrip(b"\0")))


def _scan_index(data: bytes) -> int:
    """Where the first scan's header ends; 0 if the segments before it are not in order."""
    return next((end for marker, _, end in _segments(data) if marker == _START_OF_SCAN), 0)


def _frame_index(data: bytes) -> int:
    """Where the marker of a frame that is coded in one pass stands; 0 if there is none."""
    return next((place for marker, place, _ in _segments(data) if marker in _ONE_PASS), 0)


def _segments(data: bytes) -> Iterator[tuple[int, int, int]]:
    """(marker, where it stands, where its segment ends) up to the first scan, as long as they are in order."""
    place = len(START) if data.startswith(START) else len(data)
    while place + 4 <= len(data) and data[place] == 0xFF:
        marker = data[place + 1]
        if marker == 0xFF:  # any marker may be preceded by fill bytes (B.1.1.2)
            place += 1
            continue
        end = place + 2 + int.from_bytes(data[place + 2 : place + 4], "big")
        yield marker, place, end
        if marker == _START_OF_SCAN:
            return
        place = end
