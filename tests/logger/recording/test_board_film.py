from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.errors import InputError
from logger.recording import board_film
from logger.recording.board_film import sharpest, sharpness

RATE_HZ = 20.0  # six pictures in 0.3 s


def checks(index: int, blur_px: float) -> np.ndarray:
    """A picture whose brightness tells its number."""
    squares = np.kron((np.add.outer(np.arange(12), np.arange(16)) % 2) * 120, np.ones((20, 20))) + 20 + 2 * index
    return cv2.GaussianBlur(squares.astype(np.uint8), (0, 0), blur_px) if blur_px else squares.astype(np.uint8)


def film(path: Path, blurs_px: list[float]) -> Path:
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), RATE_HZ, (320, 240))
    for index, blur_px in enumerate(blurs_px):
        writer.write(cv2.cvtColor(checks(index, blur_px), cv2.COLOR_GRAY2BGR))
    writer.release()
    return path


def test_of_every_moment_the_sharpest_picture_is_taken(tmp_path: Path) -> None:
    blurs = [3.0] * 15
    blurs[2] = blurs[9] = blurs[12] = 0.0
    found = list(sharpest(film(tmp_path / "film.avi", blurs)))
    assert [name for name, _ in found] == ["picture 2", "picture 9", "picture 12"]
    for (name, picture), (index, level) in zip(found, ((2, 24), (9, 38), (12, 44)), strict=True):
        assert picture.shape == (240, 320), name
        assert int(np.median(picture[picture < 100])) == pytest.approx(level, abs=3), index


def test_a_long_film_gives_only_so_many(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(board_film, "_MOST_MOMENTS_COUNT", 10)
    found = list(sharpest(film(tmp_path / "film.avi", [0.0] * 100)))
    assert [int(name.split()[1]) // 10 for name, _ in found] == list(range(10))


def test_blur_makes_less_sharp() -> None:
    assert sharpness(checks(0, 0.0)) > sharpness(checks(0, 1.0)) > sharpness(checks(0, 3.0))


@pytest.mark.parametrize("content", [b"", b"no film at all"])
def test_what_is_no_film_is_told(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "film.mp4"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"film\.mp4: no film that can be read; wanted one of \.avi"):
        list(sharpest(path))
