from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.vision.film import StoredFilm
from tests.logger.vision.conftest import Painted


def test_only_the_wanted_pictures_are_handed_out_in_order_and_grey(painted: Painted) -> None:
    film = StoredFilm(painted.recording)
    assert film.count == 150
    got = list(film.pictures([3, 140, 7]))
    assert [number for number, _ in got] == [3, 7, 140]
    assert got[0][1].shape == (720, 1280)


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_a_colour_of_a_grey_film_is_its_brightness(painted: Painted, channel: int) -> None:
    (_, colour), (_, grey) = (
        next(iter(StoredFilm(painted.recording, channel).pictures([5]))),
        next(iter(StoredFilm(painted.recording).pictures([5]))),
    )
    assert np.abs(colour.astype(int) - grey).max() <= 2


@pytest.mark.parametrize("channel", [None, 0])
def test_the_upper_rows_are_those_of_the_whole_picture_which_is_there_too(
    painted: Painted, channel: int | None
) -> None:
    film = StoredFilm(painted.recording, channel)
    (number, upper, whole), *rest = film.upper({7: 320, 8: 400})
    (_, picture), *_ = film.pictures([7])
    assert (number, rest[0][0]) == (7, 8)
    assert upper.shape == (320, 1280)
    assert rest[0][1].shape == (400, 1280)
    assert np.array_equal(upper[:312], picture[:312])
    assert np.array_equal(whole(), picture)


def test_a_video_of_another_kind_is_handed_out_whole(painted: Painted, tmp_path: Path) -> None:
    writer = cv2.VideoWriter(str(tmp_path / "video.avi"), cv2.VideoWriter.fourcc(*"FFV1"), 30, (1280, 720))
    for _, picture in StoredFilm(painted.recording).pictures([0, 1, 2]):
        writer.write(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR))
    writer.release()
    film = StoredFilm(
        replace(painted.recording, video=tmp_path / "video.avi", stamps=painted.recording.stamps.first(3))
    )
    for _, upper, whole in film.upper({0: 320, 2: 320}):
        assert upper.shape == (720, 1280)
        assert np.array_equal(whole(), upper)


def test_colour_is_had_from_what_was_handed_out_and_from_the_video_alike(painted: Painted) -> None:
    film, fresh = StoredFilm(painted.recording), StoredFilm(painted.recording)
    assert len(list(film.pictures([3, 5, 8]))) == 3
    kept, read = film.in_colour([3, 8]), fresh.in_colour([3, 8])
    assert list(kept) == list(read) == [3, 8]
    assert all(np.array_equal(kept[n], read[n]) and kept[n].shape == (720, 1280, 3) for n in (3, 8))
