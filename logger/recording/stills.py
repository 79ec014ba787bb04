"""Pictures to calibrate with, out of files: photographs, or a video of a rig at rest.

Taken as they are stored: a note in a photograph to turn it is not followed, for a calibration holds for rows and
columns. Grey. A video of something at rest becomes one still picture, the median, in which ripples have gone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.steady import still
from logger.errors import InputError
from logger.recording import video

Grey = NDArray[np.uint8]
VIDEOS = frozenset({".mjpeg", ".mjpg", ".avi", ".mkv", ".mov", ".mp4", ".webm"})
STILL_COUNT = 15
"""So many pictures of a video make a still one."""
_MOST_BYTES = 200_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Still:
    """One picture and where it came from."""

    name: str
    """The file's, with the number of the picture if it is out of a video."""
    grey: Grey
    """(H, W)"""


def is_video(path: Path) -> bool:
    """Whether a file of this name is taken as a video, and not as a photograph."""
    return path.suffix.lower() in VIDEOS


def read_photo(path: Path) -> Still:
    """One photograph, grey, not turned.

    Raises:
        InputError: it is not there, or no picture.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(f"{path}: larger than {_MOST_BYTES // 1_000_000} MB; wanted a photograph")
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); check its name and place") from error
    flags = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), flags) if data else None
    if picture is None:
        raise InputError(f"{path}: this is no picture that can be read; wanted PNG or JPEG, or a video")
    return Still(path.name, np.asarray(picture, np.uint8))


def spread(path: Path, count: int) -> list[Still]:
    """Some `count` pictures from all over a video, or all if it has fewer; without ever holding many more."""
    kept: list[Still] = []
    every = 1
    for number, picture, _ in video.pictures(path, grey=True):
        if picture is None or number % every:
            continue
        kept.append(Still(f"{path.name} #{number}", picture))
        if len(kept) >= 2 * count:
            kept, every = kept[::2], 2 * every
    if not kept:
        raise InputError(f"{path}: no whole picture is in it; film again")
    chosen = np.linspace(0, len(kept) - 1, min(count, len(kept))).round().astype(int)
    return [kept[index] for index in chosen.tolist()]


def read_still(paths: Sequence[Path]) -> Still:
    """One still picture of several photographs or videos of the same view.

    Raises:
        InputError: a file cannot be read; or they are of different sizes.
    """
    found = [one for path in paths for one in (spread(path, STILL_COUNT) if is_video(path) else [read_photo(path)])]
    check_sizes(found)
    name = found[0].name if len(found) == 1 else f"{', '.join(path.name for path in paths)} ({len(found)} pictures)"
    return Still(name, found[0].grey if len(found) == 1 else still([one.grey for one in found]))


def read_each(paths: Sequence[Path], *, from_video: int) -> Iterator[Still]:
    """Every photograph, and of each video so many pictures from all over it."""
    for path in paths:
        yield from spread(path, from_video) if is_video(path) else [read_photo(path)]


def check_sizes(found: Sequence[Still]) -> None:
    """Raise InputError unless all pictures are of one size."""
    first = found[0]
    for one in found[1:]:
        if one.grey.shape != first.grey.shape:
            raise InputError(
                f"{one.name} is {_size(one.grey)}, {first.name} is {_size(first.grey)}; wanted pictures of one size, "
                "of one camera, with the settings of the run"
            )


def _size(picture: Grey) -> str:
    return f"{picture.shape[1]} x {picture.shape[0]} pixels"
