from __future__ import annotations

from pathlib import Path

import pytest

from logger.errors import StoreError
from logger.recording.erasing import erase_film, films
from logger.recording.folder import load


def test_a_recording_without_its_film_is_one_of_gates_alone(with_camera: Path) -> None:
    before = load(with_camera)
    assert before.video is not None
    (film,) = films(with_camera.parent)
    assert erase_film(film) > 0
    after = load(with_camera)
    assert after.video is None
    assert after.edges == before.edges
    assert any("there is no video" in doubt for doubt in after.doubts)
    assert list(films(with_camera.parent)) == []
    assert (with_camera / "frames-erased.csv").is_file()


def test_nothing_is_found_where_nothing_is(tmp_path: Path) -> None:
    assert list(films(tmp_path / "none")) == []


def test_what_cannot_be_erased_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be erased"):
        erase_film(tmp_path / "video.avi")
