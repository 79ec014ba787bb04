"""Pictures out of a video file, forwards only, each with its place in the row.

OpenCV hands out a file's packets undecoded. Where they are JPEGs (the camera's own pictures) they are decoded one by
one, so a damaged one costs itself only, and brightness alone can be had for less. Other codecs are decoded by OpenCV
as they come. A file's own count and its seeking are never used: both are wrong in files that were cut short. Pictures
are never turned, whatever the file says: the calibration holds for the rows and columns as they are stored.
"""

from __future__ import annotations

import mmap
import os
from collections.abc import Collection, Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.errors import InputError
from logger.recording import jpeg

Image = NDArray[np.uint8]
Places = Sequence[tuple[int, int]]
"""First byte and number of bytes of each packet in its file; empty if they are not known."""
_START_BYTES = 32
"""So many bytes of a packet are looked for; then all of it is compared."""


def find_video(folder: Path, *, cut_short: bool = False) -> Path | None:
    """The one `video.*` of a recording, or None.

    Args:
        folder: The recording.
        cut_short: A video without any picture is as good as none.

    Raises:
        InputError: there is more than one, or it is empty.
    """
    found = sorted(path for path in folder.glob("video.*") if path.is_file())
    if len(found) > 1:
        names = ", ".join(path.name for path in found)
        raise InputError(f"{folder}: found {names}; one video is wanted; move the others elsewhere")
    if found and cut_short and not _has_pictures(found[0]):
        return None
    if found and found[0].stat().st_size == 0:
        raise InputError(f"{found[0]}: the video is empty; put the whole video there, or remove it and frames.csv")
    return found[0] if found else None


def _has_pictures(path: Path) -> bool:
    with path.open("rb") as file:
        if not any(file.read(len(jpeg.START))):
            return False  # its beginning never reached the disk
    try:
        return any(image is not None for _, image, _ in pictures(path, grey=True))
    except InputError:
        return False


def packets(path: Path) -> Generator[bytes]:
    """The compressed pictures of the video, in order, without decoding them."""
    capture = _opened(path, raw=True)
    try:
        while (found := capture.read())[0]:
            yield found[1].tobytes()
    finally:
        capture.release()


def _opened(path: Path, *, raw: bool) -> cv2.VideoCapture:
    _silence()
    options = [cv2.CAP_PROP_FORMAT, -1] if raw else []
    capture = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG, options)
    if _is_text(path) or not capture.isOpened():
        raise InputError(f"{path}: no pictures can be read from it; it is no video, or its end was never written")
    if not raw:
        capture.set(cv2.CAP_PROP_ORIENTATION_AUTO, 0)
    return capture


def _silence() -> None:
    """A broken file is reported once, by us, and a file cannot make us fetch another one over the network.

    OpenCV hands such wishes to FFmpeg by the environment only.
    """
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    os.environ.setdefault("OPENCV_FFMPEG_CAPTURE_OPTIONS", "protocol_whitelist;file")
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)


@dataclass(frozen=True, slots=True)
class Survey:
    """What a look through a video without decoding it shows."""

    count: int
    """Pictures; a last one that is cut short does not count."""
    damaged: frozenset[int] = frozenset()
    """Numbers of the JPEGs that are not whole."""
    with_more: frozenset[int] = frozenset()
    """Numbers of the JPEGs behind which something else stands: at times the next one that lost its start."""
    places: Places = ()
    """Where each packet stands in the file, if all are JPEGs and stand there as they were handed out."""


def _is_text(path: Path) -> bool:
    """FFmpeg paints letters as pictures, and follows lists of other files."""
    with path.open("rb") as file:
        start = file.read(512)
    return all(byte in b"\t\n\r" or 32 <= byte < 127 for byte in start)


def survey(path: Path) -> Survey:
    """Look through the video at `path`. InputError if it cannot be read at all."""
    damaged, with_more, count, is_torn = set(), set(), 0, False
    places: list[tuple[int, int]] = []
    undecoded = packets(path)
    first = next(undecoded, b"")  # opening it may already say why it cannot be read
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as stored:
        for number, packet in enumerate(chain([first] if first else [], undecoded)):
            count, is_torn = number + 1, False
            if packet.startswith(jpeg.START):
                seen = jpeg.look(packet)
                is_torn = seen.is_torn
                if not seen.is_whole:
                    damaged.add(number)
                if seen.has_more:
                    with_more.add(number)
                if len(places) == number and (place := _found(stored, packet, places)) is not None:
                    places.append(place)
    # where a picture is torn, what stands where is read anew each time, as it always was
    all_known = tuple(places) if len(places) == count and not (damaged or with_more or is_torn) else ()
    count -= is_torn
    return Survey(count, frozenset(damaged - {count}), frozenset(with_more), all_known)


def _found(stored: mmap.mmap, packet: bytes, before: Places) -> tuple[int, int] | None:
    """Where the packet stands in the file behind those `before` it; None: not as it was handed out."""
    at = stored.find(packet[:_START_BYTES], sum(before[-1]) if before else 0)
    return (at, len(packet)) if at >= 0 and stored[at : at + len(packet)] == packet else None


def decoded_count(path: Path) -> int:
    """How many pictures come out when the video is decoded."""
    capture = _opened(path, raw=False)
    try:
        count = 0
        while capture.grab():
            count += 1
        return count
    finally:
        capture.release()


def holds_jpegs(path: Path) -> bool:
    """True if the video is a row of JPEGs, in whatever container."""
    return next(packets(path), b"").startswith(jpeg.START)


@dataclass(frozen=True, slots=True)
class Upper:
    """How much of the pictures is wanted."""

    rows_px: Mapping[int, int]
    """By number: how many rows from the top, a multiple of 16."""
    of_px: int
    """How many rows a whole picture has."""


def pictures(
    path: Path,
    *,
    grey: bool,
    wanted: Collection[int] | None = None,
    damaged: Collection[int] = (),
    upper: Upper | None = None,
    places: Places = (),
) -> Iterator[tuple[int, Image | None, bytes | None]]:
    """(number from 0, picture, its JPEG if it is one), in order; None for a `damaged` or undecodable JPEG.

    Pictures are (height, width, 3) BGR, or (height, width) if `grey`. If only some numbers are `wanted`, the others are
    passed over, undecoded where the codec allows it, and unread if the `places` of the packets are known. Of JPEGs that
    allow it only the `upper` rows are decoded, see `jpeg.decode_upper`.
    """
    if places:
        yield from _jpegs(_read(path, places, wanted), grey=grey, wanted=wanted, damaged=damaged, upper=upper)
        return
    undecoded = packets(path)
    first = next(undecoded, b"")
    if first.startswith(jpeg.START):
        yield from _jpegs(enumerate(chain([first], undecoded)), grey=grey, wanted=wanted, damaged=damaged, upper=upper)
    else:
        undecoded.close()
        yield from _decoded(path, grey=grey, wanted=wanted)


def _read(path: Path, places: Places, wanted: Collection[int] | None) -> Iterator[tuple[int, bytes]]:
    """(number, packet) of the wanted ones, without looking at the others."""
    with path.open("rb") as file:
        for number in range(len(places)) if wanted is None else sorted(n for n in wanted if 0 <= n < len(places)):
            start, count = places[number]
            file.seek(start)
            packet = file.read(count)
            if len(packet) < count:
                raise InputError(
                    f"{path}: found its end within picture {number}; wanted the video as it was when the recording was "
                    "opened; put the whole video back and open it again"
                )
            yield number, packet


def _jpegs(
    undecoded: Iterable[tuple[int, bytes]],
    *,
    grey: bool,
    wanted: Collection[int] | None,
    damaged: Collection[int],
    upper: Upper | None,
) -> Iterator[tuple[int, Image | None, bytes]]:
    last = None if wanted is None else max(wanted, default=-1)
    for number, packet in undecoded:
        if last is not None and number > last:
            return
        if wanted is not None and number not in wanted:
            continue
        yield number, None if number in damaged else _picture(packet, number, grey, upper), packet


def _picture(packet: bytes, number: int, grey: bool, upper: Upper | None) -> Image | None:
    if upper is not None and number in upper.rows_px:
        image = jpeg.decode_upper(packet, rows_px=upper.rows_px[number], of_px=upper.of_px, grey=grey)
        if image is not None:
            return image
    return jpeg.decode(packet, grey=grey)


def _decoded(path: Path, *, grey: bool, wanted: Collection[int] | None) -> Iterator[tuple[int, Image, None]]:
    capture = _opened(path, raw=False)
    try:
        number = -1
        while capture.grab():
            number += 1
            if wanted is not None and number not in wanted:
                continue
            held, found = capture.retrieve()
            if not held:
                return
            image = cv2.cvtColor(found, cv2.COLOR_BGR2GRAY) if grey else found
            yield number, image.astype(np.uint8, copy=False), None
    finally:
        capture.release()
