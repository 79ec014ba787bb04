from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.config import Boat, Rig, RunCard, Tank
from logger.recording.folder import FrameStamps, Recording
from logger.records import Frame
from logger.vision.film import StoredFilm, watched
from logger.vision.glance import evenly
from logger.vision.hues import hue
from tests.logger.vision.conftest import Painted
from tests.logger.vision.painted import camera
from tests.logger.vision.yard import seen, shifted, yard


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
    assert upper[:, :].shape == (320, 1280)
    assert rest[0][1][:, :].shape == (400, 1280)
    assert np.array_equal(upper[:312, :], picture[:312])
    assert np.array_equal(whole()[:, :], picture)


def test_a_made_film_shows_what_is_made_of_its_own_colours(painted: Painted) -> None:
    film = StoredFilm(painted.recording)
    hued = film.made(lambda picture: hue(picture, (0, 2)))
    (_, shown), *_ = hued.pictures([20])
    assert np.array_equal(shown, hue(film.in_colour([20])[20], (0, 2)))
    (_, upper, whole), *_ = hued.upper({20: 320})
    assert np.array_equal(upper[:312, :], shown[:312])
    assert np.array_equal(upper[40:90, 200:330], shown[40:90, 200:330])
    assert len(whole()) == 720
    assert np.array_equal(whole()[:, :], shown)
    assert not hued.is_grey


def test_a_picture_is_made_only_where_it_is_looked_at(painted: Painted) -> None:
    made = []

    def how(picture: np.ndarray) -> np.ndarray:
        made.append(picture.shape)
        return hue(picture, (0, 2))

    (_, upper, _), *_ = StoredFilm(painted.recording).made(how).upper({20: 320})
    assert not made
    upper[10:40, 300:350]
    assert made == [(30, 50, 3)]
    assert upper[400:410, 300:350].shape == (0, 50)


def test_a_video_of_another_kind_is_handed_out_whole(painted: Painted, tmp_path: Path) -> None:
    writer = cv2.VideoWriter(str(tmp_path / "video.avi"), cv2.VideoWriter.fourcc(*"FFV1"), 30, (1280, 720))
    for _, picture in StoredFilm(painted.recording).pictures([0, 1, 2]):
        writer.write(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR))
    writer.release()
    stamps = painted.recording.stamps.first(3)
    film = StoredFilm(replace(painted.recording, video=tmp_path / "video.avi", stamps=stamps, places=()))
    for _, upper, whole in film.upper({0: 320, 2: 320}):
        assert upper.shape == (720, 1280)
        assert np.array_equal(whole(), upper)


def test_colour_is_had_from_what_was_handed_out_and_from_the_video_alike(painted: Painted) -> None:
    film, fresh = StoredFilm(painted.recording), StoredFilm(painted.recording)
    assert len(list(film.pictures([3, 5, 8]))) == 3
    kept, read = film.in_colour([3, 8]), fresh.in_colour([3, 8])
    assert list(kept) == list(read) == [3, 8]
    assert all(np.array_equal(kept[n], read[n]) and kept[n].shape == (720, 1280, 3) for n in (3, 8))


def test_what_is_at_hand_is_decoded_once_for_all_films_and_is_the_same(
    painted: Painted, monkeypatch: pytest.MonkeyPatch
) -> None:
    film, how = StoredFilm(painted.recording), partial(hue, pair=(0, 2))
    fresh = [dict(StoredFilm(painted.recording, what).pictures([3, 5, 8, 9])) for what in (None, 1, how)]
    decoded: list[int] = []
    frames = Recording.frames

    def counted(recording: Recording, **asked) -> Iterator[Frame]:
        for frame in frames(recording, **asked):
            decoded.append(frame.sequence)
            yield frame

    monkeypatch.setattr(Recording, "frames", counted)
    first = dict(film.pictures([3, 8]))
    with film.at_hand(first):
        shown = [dict(one.pictures([3, 5, 8, 9])) for one in (film, film.in_one_colour(1), film.made(how))]
        assert list(film.in_colour([5, 8])) == [5, 8]
        assert decoded == [3, 8, 5, 9, 3, 5, 8, 9]
    assert all(list(one) == [3, 5, 8, 9] for one in shown)
    assert all(np.array_equal(one[n], other[n]) for one, other in zip(shown, fresh, strict=True) for n in one)
    dict(film.pictures([3, 8]))
    assert decoded[8:] == [3, 8], "afterwards nothing is held"


def test_a_watched_film_is_put_back_where_the_camera_was_knocked(tmp_path: Path) -> None:
    pictures = [seen(yard() if n < 10 else shifted(yard(), 3.0, -2.0), seed=n) for n in range(30)]
    with (tmp_path / "video.mjpeg").open("wb") as file:
        for picture in pictures:
            file.write(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes())
    count = len(pictures)
    stamps = FrameStamps(
        np.arange(count, dtype=np.int64) * 33_333_333, np.full(count, 4_000_000), np.full(count, 20_000)
    )
    view = camera(size=(640, 360))
    rig = Rig("yard", Tank(((0.0, -1.0), (1.0, 0.0), (0.0, 1.0)), 100.0), ())
    card = RunCard("yard", "straight", "2026-01-01T00:00:00Z", Boat("none"))
    recording = Recording(tmp_path, card, rig, view, "yard", (), (), stamps, tmp_path / "video.mjpeg")
    water = np.array([[80.0, 70.0], [560.0, 70.0], [560.0, 290.0], [80.0, 290.0]])
    film, first = watched(recording, water)
    assert film.watch is not None
    edges = np.hypot(*np.gradient(yard())) > 8
    edges[:45], edges[315:], edges[:, :45], edges[:, 595:] = False, False, False, False

    def apart(picture: np.ndarray) -> float:
        return float(np.abs(picture.astype(float) - yard()[: len(picture)])[edges[: len(picture)]].mean())

    knocked = apart(pictures[20])
    assert knocked > 8 * apart(pictures[0])
    assert set(first) == set(evenly(30))
    assert all(apart(picture) < 0.25 * knocked for picture in first.values())
    for _, upper, whole in film.upper(dict.fromkeys(range(30), 192)):
        assert len(upper) == 192
        assert apart(upper[:, :]) < 0.25 * knocked
        assert apart(whole()[:, :]) < 0.25 * knocked
    assert np.abs(film.watch.move(20).at(np.array([320.0, 180.0])) - (3.0, -2.0)).max() < 0.06
    green = dict(film.in_one_colour(1).pictures([20]))[20]
    assert apart(green) < 0.25 * knocked
    assert all(apart(picture[..., 1]) < 0.25 * knocked for picture in film.in_colour([5, 20]).values())
    upper = film.upper_in_colour([5, 20], 200)
    assert all(len(picture) == 208 for picture in upper.values())
    assert all(apart(picture[:, :][..., 1]) < 0.25 * knocked for picture in upper.values())
