"""Photos as they come from a camera or a phone, and what their notes (EXIF 2.3) say of how they were taken.

A note that asks a viewer to turn the picture is not followed, here as everywhere in recordings: what counts is how the
sensor's pixels lie in the file.
"""

from __future__ import annotations

import hashlib
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".bmp", ".tif", ".tiff", ".webp")
_MAKE, _MODEL, _ORIENTATION, _DETAILS = 0x010F, 0x0110, 0x0112, 0x8769
_FOCAL_LENGTH, _ZOOM_RATIO, _WIDTH, _HEIGHT = 0x920A, 0xA404, 0xA002, 0xA003
_UPRIGHT = 1
_MOST_BYTES = 100_000_000
_SAME_FOCAL = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """One picture file."""

    name: str
    picture: NDArray[np.uint8]
    """(H, W) grey, as the pixels lie in the file."""
    sha256: str
    """Of the file, in hexadecimal digits."""
    camera: str = ""
    """Make and model as the file notes them."""
    focal_mm: float = 0.0
    """Focal length as noted, times the digital zoom; 0 if it is not."""
    turned: bool = False
    """Its note asks a viewer to turn it."""
    taken_width_px: int = 0
    """Width as it was taken, as noted; 0 if it is not."""
    taken_height_px: int = 0
    """Height as it was taken, as noted; 0 if it is not."""

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.picture.shape[1], self.picture.shape[0]


def read_photo(path: Path) -> Photo | str:
    """The photo, or a sentence on why it cannot be read."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            return "more than 100 MB; wanted a photo"
        data = path.read_bytes()
    except OSError as error:
        return f"cannot be read ({error.strerror})"
    flags = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), flags) if data else None
    if picture is None:
        return "no picture that can be read; is it damaged or of another kind?"
    digest = hashlib.sha256(data).hexdigest()
    return Photo(path.name, np.asarray(picture, np.uint8), digest, **_notes(data))  # type: ignore[arg-type]


def _notes(data: bytes) -> dict[str, object]:
    try:
        with Image.open(io.BytesIO(data)) as image:
            notes = image.getexif()
            details = notes.get_ifd(_DETAILS)
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        return {}
    words = [str(notes.get(key, "")).strip(" \0") for key in (_MAKE, _MODEL)]
    focal = _number(details.get(_FOCAL_LENGTH)) * (_number(details.get(_ZOOM_RATIO)) or 1.0)
    return {
        "camera": " ".join(word for word in words if word),
        "focal_mm": focal,
        "turned": notes.get(_ORIENTATION, _UPRIGHT) != _UPRIGHT,
        "taken_width_px": int(_number(details.get(_WIDTH))),
        "taken_height_px": int(_number(details.get(_HEIGHT))),
    }


def _number(found: object) -> float:
    try:
        value = float(found)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return 0.0
    return value if np.isfinite(value) and 0 < value < 1e9 else 0.0


def judged(photos: Sequence[Photo]) -> tuple[list[str], list[str]]:
    """What is wrong with a set of photos that are meant to be of one lens, and what is only worth knowing."""
    mistakes = [*_sizes(photos), *_cameras(photos)]
    doubts = []
    if photos and not any(photo.camera for photo in photos):
        doubts.append(
            "the photos have no notes (EXIF) of the camera; that one camera with one zoom and focus took them all is "
            "taken on trust, and checked by how they fit together"
        )
    turned = [photo.name for photo in photos if photo.turned]
    if turned:
        doubts.append(
            f"{_some(turned)}: a note asks viewers to turn the picture; it is used as its pixels are stored, as in "
            "recordings"
        )
    changed = [
        photo.name
        for photo in photos
        if photo.taken_width_px and {photo.taken_width_px, photo.taken_height_px} != set(photo.size_px)
    ]
    if changed:
        doubts.append(
            f"{_some(changed)}: made smaller or cut after it was taken; a cut photo has its optical centre elsewhere: "
            "use photos as they come from the camera"
        )
    return mistakes, doubts


def _sizes(photos: Sequence[Photo]) -> list[str]:
    sizes = Counter(photo.size_px for photo in photos)
    if len(sizes) < 2:
        return []
    usual = sizes.most_common(1)[0][0]
    parts = []
    for size in sizes:
        names = [photo.name for photo in photos if photo.size_px == size]
        turned = " (turned on its side?)" if size == usual[::-1] else ""
        parts.append(f"{size[0]} x {size[1]}{turned}: {_some(names)}")
    return [f"photos of different sizes: {'; '.join(parts)}; wanted all as the stream of the run has them"]


def _cameras(photos: Sequence[Photo]) -> list[str]:
    mistakes = []
    cameras = dict.fromkeys(photo.camera for photo in photos if photo.camera)
    if len(cameras) > 1:
        each = "; ".join(f"{camera}: {_some([p.name for p in photos if p.camera == camera])}" for camera in cameras)
        mistakes.append(f"photos of {len(cameras)} cameras: {each}; wanted those of the rig's camera only")
    focal = [photo.focal_mm for photo in photos if photo.focal_mm]
    if len(cameras) < 2 and focal and max(focal) > (1 + _SAME_FOCAL) * min(focal):
        mistakes.append(
            f"photos with focal lengths from {min(focal):g} to {max(focal):g} mm; wanted one: do not zoom between them"
        )
    return mistakes


def _some(names: Sequence[str]) -> str:
    shown = ", ".join(names[:4])
    return shown if len(names) <= 4 else f"{shown} and {len(names) - 4} more"
