"""Pictures out of a video file, forwards only, each with its place in the row.

OpenCV hands out a file's packets undecoded. Where they are JPEGs (the camera's own pictures) they are decoded one by
one, so a damaged one costs itself only, and brightness alone can be had for less. Other codecs are decoded by OpenCV
as they come. A file's own count and its seeking are never used: both are wrong in files that were cut short.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.errors import InputError

Image = NDArray[np.uint8]
_JPEG_START = b"\xff\xd8"
_JPEG_END = b"\xff\xd9"


def find_video(folder: Path) -> Path | None:
    """The one `video.*` of a recording, or None.

    Raises:
        InputError: there is more than one, or it is empty.
    """
    found = sorted(path for path in folder.glob("video.*") if path.is_file())
    if len(found) > 1:
        names = ", ".join(path.name for path in found)
        raise InputError(f"{folder}: found {names}; one video is wanted; move the others elsewhere")
    if found and found[0].stat().st_size == 0:
        raise InputError(f"{found[0]}: the video is empty; put the whole video there, or remove it and frames.csv")
    return found[0] if found else None


def packets(path: Path) -> Iterator[bytes]:
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
    if not capture.isOpened():
        raise InputError(f"{path}: no pictures can be read from it; it is no video, or its end was never written")
    return capture


def _silence() -> None:
    """A broken file is reported once, by us. FFmpeg reads its level when the first video is opened."""
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)


def picture_count(path: Path) -> int:
    """How many whole pictures the video holds, counted one by one; 0 if it cannot be read at all."""
    count, last = 0, b""
    try:
        for packet in packets(path):
            count, last = count + 1, packet
    except InputError:
        return 0
    torn = last.startswith(_JPEG_START) and not last.rstrip(b"\0").endswith(_JPEG_END)
    return count - torn


def pictures(
    path: Path, *, grey: bool, wanted: Collection[int] | None = None
) -> Iterator[tuple[int, Image, bytes | None]]:
    """(number from 0, picture, its JPEG if it is one), in order; JPEGs that cannot be decoded are passed over.

    Pictures are (height, width, 3) BGR, or (height, width) if `grey`. If only some numbers are `wanted`, the others are
    passed over, undecoded where the codec allows it.
    """
    first = next(packets(path), b"")
    if first.startswith(_JPEG_START):
        yield from _jpegs(path, grey=grey, wanted=wanted)
    else:
        yield from _decoded(path, grey=grey, wanted=wanted)


def _jpegs(path: Path, *, grey: bool, wanted: Collection[int] | None) -> Iterator[tuple[int, Image, bytes]]:
    mode = cv2.IMREAD_GRAYSCALE if grey else cv2.IMREAD_COLOR
    for number, packet in enumerate(packets(path)):
        if wanted is not None and number not in wanted:
            continue
        image = cv2.imdecode(np.frombuffer(packet, np.uint8), mode)
        if image is not None:
            yield number, image.astype(np.uint8, copy=False), packet


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
