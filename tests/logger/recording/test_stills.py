"""Pictures to calibrate with come out of photographs and videos as they are stored."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.errors import InputError
from logger.recording.stills import is_video, read_each, read_photo, read_still, spread

RNG = np.random.default_rng(1)
SCENE = np.kron(RNG.integers(40, 200, (12, 16)), np.ones((10, 10), int)).astype(np.uint8)


def noisy() -> np.ndarray:
    return np.clip(SCENE + RNG.normal(0, 12, SCENE.shape), 0, 255).astype(np.uint8)


def film(path: Path, count: int) -> Path:
    with path.open("wb") as file:
        for _ in range(count):
            file.write(cv2.imencode(".jpg", noisy(), (cv2.IMWRITE_JPEG_QUALITY, 95))[1].tobytes())
    return path


def with_turn(path: Path) -> Path:
    """A JPEG that asks to be shown on its side (Exif 2.32, tag 0x0112, value 6)."""
    data = cv2.imencode(".jpg", SCENE, (cv2.IMWRITE_JPEG_QUALITY, 100))[1].tobytes()
    tiff = b"MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00\x00\x00\x00\x00"
    exif = b"Exif\x00\x00" + tiff
    path.write_bytes(data[:2] + b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif + data[2:])
    return path


def test_a_photograph_is_taken_as_it_is_stored(tmp_path: Path) -> None:
    found = read_photo(with_turn(tmp_path / "tank.jpg"))
    assert found.name == "tank.jpg"
    assert found.grey.shape == SCENE.shape
    assert np.abs(found.grey.astype(int) - SCENE).mean() < 3


def test_a_video_at_rest_becomes_one_still_picture_with_less_noise(tmp_path: Path) -> None:
    found = read_still([film(tmp_path / "tank.mjpeg", 40)])
    assert found.name == "tank.mjpeg (15 pictures)"
    assert np.std(found.grey.astype(float) - SCENE) < 6


def test_pictures_come_from_all_over_a_video(tmp_path: Path) -> None:
    names = [one.name for one in spread(film(tmp_path / "a.mjpeg", 100), 8)]
    numbers = [int(name.split("#")[1]) for name in names]
    assert len(numbers) == 8
    assert numbers[0] < 15
    assert numbers[-1] > 60
    cv2.imwrite(str(tmp_path / "p.png"), SCENE)
    each = list(read_each([tmp_path / "p.png", tmp_path / "a.mjpeg"], from_video=3))
    assert [one.name for one in each][:2] == ["p.png", "a.mjpeg #0"]
    assert len(each) == 4


def test_what_is_no_picture_is_refused(tmp_path: Path) -> None:
    (tmp_path / "words.png").write_text("no picture")
    (tmp_path / "empty.jpg").touch()
    for name in ("words.png", "empty.jpg"):
        with pytest.raises(InputError, match=f"{name}: this is no picture that can be read"):
            read_photo(tmp_path / name)
    with pytest.raises(InputError, match=r"gone\.png: cannot be read \(No such file"):
        read_photo(tmp_path / "gone.png")


def test_pictures_of_different_sizes_are_not_of_one_view(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), SCENE)
    cv2.imwrite(str(tmp_path / "b.png"), SCENE[:, :100])
    with pytest.raises(
        InputError, match=r"b\.png is 100 x 120 pixels, a\.png is 160 x 120 pixels; wanted pictures of one"
    ):
        read_still([tmp_path / "a.png", tmp_path / "b.png"])


def test_a_name_tells_a_video() -> None:
    assert is_video(Path("a.MP4"))
    assert not is_video(Path("a.jpeg"))
