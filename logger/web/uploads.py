"""Pictures and films that are sent: kept only if they are what they say, of a size that this computer can look at."""

from __future__ import annotations

import io
from typing import Literal, TypeAlias

from PIL import Image, UnidentifiedImageError

from logger.errors import InputError
from logger.web.drafts import plain_name

Kind: TypeAlias = Literal["photo", "film"]
PHOTO_BYTES, FILM_BYTES = 40_000_000, 200_000_000
MOST_PIXELS = 50_000_000
LEAST_SIDE_PX = 64
_PHOTOS = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp"}


def checked(name: str, content: bytes, *, films: bool) -> tuple[str, Kind]:
    """A name to keep `content` under, with the ending of what it really is.

    Raises:
        InputError: it is empty, too large, no picture (or film, where `films` are wanted), or cannot be decoded.
    """
    plain = plain_name(name)
    stem = plain.rsplit(".", 1)[0] or "picture"
    if not content:
        raise InputError(f"{plain}: it is empty; choose a file")
    ending = _film_ending(content)
    if ending:
        if not films:
            raise InputError(f"{plain}: this is a film; wanted a photograph")
        if len(content) > FILM_BYTES:
            raise InputError(f"{plain}: more than {FILM_BYTES // 1_000_000} MB; wanted a shorter film")
        return stem + ending, "film"
    if len(content) > PHOTO_BYTES:
        raise InputError(f"{plain}: more than {PHOTO_BYTES // 1_000_000} MB; wanted a photograph")
    return stem + _photo_ending(plain, content), "photo"


def _photo_ending(name: str, content: bytes) -> str:
    try:
        with Image.open(io.BytesIO(content), formats=list(_PHOTOS)) as picture:
            width, height = picture.size
            if width * height > MOST_PIXELS or min(width, height) < LEAST_SIDE_PX:
                raise InputError(
                    f"{name}: found {width} x {height} pixels; wanted a photograph of {LEAST_SIDE_PX} pixels or more "
                    f"to a side and {MOST_PIXELS // 1_000_000} megapixels at most"
                )
            picture.load()
            return _PHOTOS.get(picture.format or "", ".jpg")
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{name}: this is no picture that can be read; wanted JPEG or PNG; is it whole?") from error


def _film_ending(content: bytes) -> str:
    """By its first bytes: RIFF AVI, ISO base media (MP4, MOV), Matroska and WebM; empty if it is none of them."""
    if content[:4] == b"RIFF" and content[8:12] == b"AVI ":
        return ".avi"
    if content[4:8] == b"ftyp":
        return ".mov" if content[8:10] == b"qt" else ".mp4"
    if content[:4] == b"\x1a\x45\xdf\xa3":
        return ".mkv"
    return ""
