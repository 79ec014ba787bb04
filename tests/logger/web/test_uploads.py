from __future__ import annotations

import io
import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from logger.errors import InputError
from logger.web import uploads
from logger.web.uploads import checked


def picture(kind: str, size: tuple[int, int] = (320, 200)) -> bytes:
    data = io.BytesIO()
    Image.new("L", size, 90).save(data, kind)
    return data.getvalue()


@pytest.mark.parametrize(("kind", "ending"), [("JPEG", ".jpg"), ("PNG", ".png"), ("WEBP", ".webp")])
def test_a_picture_gets_the_ending_of_what_it_is(kind: str, ending: str) -> None:
    assert checked("../../photo.exe", picture(kind), films=False) == (f"photo{ending}", "photo")


def test_a_film_is_known_by_its_first_bytes() -> None:
    heads = {
        ".avi": b"RIFF\0\0\0\0AVI LIST", ".mp4": b"\0\0\0\x20ftypisom", ".mov": b"\0\0\0\x14ftypqt  ",
        ".mkv": b"\x1a\x45\xdf\xa3\0\0",
    }  # fmt: skip
    for ending, head in heads.items():
        assert checked("film.png", head + bytes(100), films=True) == (f"film{ending}", "film")
        with pytest.raises(InputError, match="this is a film; wanted a photograph"):
            checked("film.png", head + bytes(100), films=False)


def huge_png() -> bytes:
    """A few bytes that claim 30000 x 30000 pixels (PNG specification, 11.2.2)."""
    head = struct.pack(">IIBBBBB", 30_000, 30_000, 8, 0, 0, 0, 0)

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "it is empty"), (b"text", "no picture that can be read"), (picture("JPEG")[:400], "no picture that can"),
        (picture("GIF"), "no picture that can be read"), (picture("PNG", (320, 20)), "found 320 x 20 pixels"),
        (huge_png(), "found 30000 x 30000 pixels|no picture that can be read"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", "no picture that can be read"),
    ],
)  # fmt: skip
def test_what_is_no_photograph_is_refused(content: bytes, told: str) -> None:
    with pytest.raises(InputError, match=told):
        checked("photo.jpg", content, films=True)


def test_what_is_too_large_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "PHOTO_BYTES", 50)
    monkeypatch.setattr(uploads, "FILM_BYTES", 50)
    with pytest.raises(InputError, match="wanted a photograph"):
        checked("photo.png", picture("PNG"), films=True)
    with pytest.raises(InputError, match="wanted a shorter film"):
        checked("a.avi", b"RIFF\0\0\0\0AVI LIST" + bytes(100), films=True)


@given(st.binary(max_size=300))
def test_any_bytes_are_taken_or_refused_in_words(content: bytes) -> None:
    for head in (b"", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n"):
        try:
            name, kind = checked("x", head + content, films=True)
        except InputError as error:
            name, kind = str(error), "refused"
        assert "\n" not in name
        assert kind in {"photo", "film", "refused"}
