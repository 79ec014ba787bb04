"""Photos are read as their pixels lie, and their notes tell which do not belong together."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from logger.recording.photos import Photo, judged, read_photo

GREY = np.tile(np.arange(0, 240, 2, dtype=np.uint8), (80, 1))


def written(
    path: Path, *, make: str = "", model: str = "", focal: float = 0.0, zoom: float = 0.0, orientation: int = 0,
    taken: tuple[int, int] | None = None,
) -> Path:  # fmt: skip
    notes = Image.Exif()
    for key, value in ((0x010F, make), (0x0110, model), (0x0112, orientation)):
        if value:
            notes[key] = value
    details = notes.get_ifd(0x8769)
    if focal:
        details[0x920A] = focal
    if zoom:
        details[0xA404] = zoom
    if taken is not None:
        details[0xA002], details[0xA003] = taken
    Image.fromarray(GREY).save(path, exif=notes, quality=95)
    return path


def photo(path: Path) -> Photo:
    found = read_photo(path)
    assert isinstance(found, Photo)
    return found


def plain(name: str = "a.jpg", **changes: object) -> Photo:
    return replace(Photo(name, GREY, "0" * 64), **changes)  # type: ignore[arg-type]


def test_a_photo_and_its_notes_are_read(tmp_path: Path) -> None:
    path = written(tmp_path / "a.jpg", make="Plover", model="P-3 ", focal=4.25, zoom=2.0, taken=(120, 80))
    found = photo(path)
    assert found.camera == "Plover P-3"
    assert found.focal_mm == pytest.approx(8.5)
    assert found.size_px == (120, 80) == (found.taken_width_px, found.taken_height_px)
    assert found.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert np.abs(found.picture.astype(int) - GREY).max() < 8


def test_a_note_that_asks_to_turn_the_picture_is_not_followed(tmp_path: Path) -> None:
    found = photo(written(tmp_path / "a.jpg", orientation=6))
    assert found.size_px == (120, 80)
    assert found.turned
    assert "a note asks viewers to turn the picture; it is used as its pixels are stored" in judged([found])[1][-1]


def test_a_photo_without_notes_is_taken_on_trust(tmp_path: Path) -> None:
    Image.fromarray(GREY).save(tmp_path / "a.png")
    found = photo(tmp_path / "a.png")
    assert (found.camera, found.focal_mm, found.turned) == ("", 0.0, False)
    mistakes, doubts = judged([found])
    assert mistakes == []
    assert "no notes (EXIF)" in doubts[0]


@pytest.mark.parametrize(
    ("content", "told"), [(b"", "no picture that can be read"), (b"no picture", "no picture that can be read")]
)
def test_what_is_no_photo_is_told(content: bytes, told: str, tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(content)
    found = read_photo(path)
    assert isinstance(found, str)
    assert told in found


def test_what_is_not_there_is_told(tmp_path: Path) -> None:
    assert "cannot be read (No such file" in str(read_photo(tmp_path / "none.jpg"))


def test_photos_of_two_sizes_are_refused_by_name() -> None:
    large = np.zeros((160, 240), np.uint8)
    mistakes, _ = judged([plain(f"{n}.jpg") for n in range(6)] + [plain("big.jpg", picture=large)])
    assert mistakes == [
        "photos of different sizes: 120 x 80: 0.jpg, 1.jpg, 2.jpg, 3.jpg and 2 more; 240 x 160: big.jpg; "
        "wanted all as the stream of the run has them"
    ]


def test_a_photo_on_its_side_is_told_as_such() -> None:
    mistakes, _ = judged([plain("a.jpg"), plain("b.jpg"), plain("c.jpg", picture=np.zeros((120, 80), np.uint8))])
    assert "80 x 120 (turned on its side?): c.jpg" in mistakes[0]


def test_photos_of_two_cameras_are_refused() -> None:
    mistakes, _ = judged([plain("a.jpg", camera="Plover"), plain("b.jpg", camera="Dunlin"), plain("c.jpg")])
    assert mistakes == ["photos of 2 cameras: Plover: a.jpg; Dunlin: b.jpg; wanted those of the rig's camera only"]


def test_zooming_between_photos_is_refused() -> None:
    mistakes, _ = judged([plain("a.jpg", focal_mm=4.2), plain("b.jpg", focal_mm=6.0)])
    assert "focal lengths from 4.2 to 6 mm; wanted one: do not zoom" in mistakes[0]
    assert judged([plain("a.jpg", focal_mm=4.2), plain("b.jpg", focal_mm=4.21)])[0] == []


def test_a_photo_that_was_cut_afterwards_is_a_doubt() -> None:
    cut = plain("cut.jpg", camera="Plover", taken_width_px=4000, taken_height_px=3000)
    whole = plain("whole.jpg", camera="Plover", taken_width_px=80, taken_height_px=120)
    _, doubts = judged([cut, whole])
    assert len(doubts) == 1
    assert doubts[0].startswith("cut.jpg: made smaller or cut after it was taken")
