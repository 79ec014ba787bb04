"""Pictures of the camera on the rig's page: a real crew with a simulated camera, and an invented one."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.files import load_view
from logger.lesson.desk import Desk as LessonDesk
from logger.lesson.rig_crew import RigCrew
from logger.recording.masking import shown_part
from logger.recording.rig_toml import read_rig
from logger.records import Frame
from logger.web.pin import read_pin, set_pin
from logger.web.rig_picture import FRESH_S
from tests.logger.lesson.practice import rig_file as practice_rig
from tests.logger.web.conftest import AT, PIN, Desk, fields, served

SHOT = "/rig/picture.jpg"


@pytest.fixture
def filmed(tmp_path: Path) -> Iterator[Desk]:
    """Pages of a rig with a camera, which only the test works."""
    yield from served(practice_rig(tmp_path, has_camera=True))


def part_of(desk: Desk) -> np.ndarray:
    return shown_part(load_view(desk.folder / "camera.toml"), read_rig(desk.rig_file).tank)


def room(desk: Desk, t_ns: int) -> Frame:
    """A picture of bright water in a room as bright."""
    return Frame(t_ns, np.full((*part_of(desk).shape, 3), 230, np.uint8), 0, "camera")


def shown(desk: Desk) -> np.ndarray:
    answer = desk.client.get(SHOT)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["cache-control"] == "no-store"
    return np.asarray(cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_COLOR))


def beside(desk: Desk) -> np.ndarray:
    """Which pixels are so far from the water that no coding of a picture spills into them."""
    return np.asarray(cv2.erode((~part_of(desk)).astype(np.uint8), np.ones((33, 33), np.uint8)) > 0)


def test_while_a_lesson_is_open_the_newest_picture_is_shown_the_water_alone(filmed: Desk) -> None:
    hands = filmed.begin()
    hands.newest = room(filmed, filmed.clock.now_ns)
    text = filmed.get("/rig")
    assert 'data-again="/rig/picture.jpg"' in text
    assert "all beside it is black" in text
    picture = shown(filmed)
    assert picture[beside(filmed)].max() < 60, "the room is not there"
    inside = cv2.erode(part_of(filmed).astype(np.uint8), np.ones((33, 33), np.uint8)) > 0
    assert np.median(picture[inside]) > 180, "the water is"
    other = Frame(filmed.clock.now_ns + 1, np.full_like(hands.newest.image, 90), 1, "camera")
    hands.newest = other
    assert np.median(shown(filmed)[inside]) < 120, "and it is the newest"


def test_an_old_picture_is_not_shown_as_if_it_were_of_now(filmed: Desk) -> None:
    hands = filmed.begin()
    hands.newest = room(filmed, filmed.clock.now_ns)
    filmed.clock.now_ns += round((FRESH_S + 1) * 1e9)
    assert filmed.client.get(SHOT).status_code == 404
    text = filmed.get("/rig")
    assert "data-silent>No new picture comes from the camera." in text
    assert "Take a picture now" not in text, "the lesson has the camera"


def test_without_a_lesson_the_camera_takes_one_when_asked(filmed: Desk) -> None:
    assert filmed.client.get(SHOT).status_code == 404
    assert "Take a picture now" in filmed.get("/rig")
    where = filmed.worked(filmed.post("/rig/take", {}, drawn_at="/rig"))
    assert where == "/rig#picture"
    assert f"Taken at {AT:%Y-%m-%d %H:%M}." in filmed.get("/rig")
    assert shown(filmed)[beside(filmed)].max() < 60
    kept = [one for one in filmed.folder.rglob("*") if one.suffix in (".png", ".jpg", ".mjpeg")]
    assert kept == [], "it is kept in memory only"
    filmed.begin()
    assert "Taken at" not in filmed.get("/rig")
    assert filmed.client.get(SHOT).status_code == 404, "what was taken before a lesson is not shown as of now"


def test_where_the_water_is_must_be_known_before_anything_is_shown(filmed: Desk) -> None:
    hands = filmed.begin()
    hands.newest = room(filmed, filmed.clock.now_ns)
    (filmed.folder / "camera.toml").unlink()
    assert "nothing of it is shown here" in filmed.get("/rig")
    assert filmed.client.get(SHOT).status_code == 422


def test_viewers_see_no_picture_and_take_none(tmp_path: Path) -> None:
    file = practice_rig(tmp_path, has_camera=True)
    set_pin(file, PIN)
    for desk in served(file, read_pin(file)):
        assert desk.client.get(SHOT).status_code == 403
        assert "What the camera sees" not in desk.get("/rig")
        desk.post("/rig/take", {}, 403, drawn_at="/pin")


def test_a_rig_without_a_camera_has_its_plan_alone(tmp_path: Path) -> None:
    for desk in served(practice_rig(tmp_path)):
        text = desk.get("/rig")
        assert "What the camera sees" not in text
        assert "/rig/plan.svg" in text


def test_a_real_crew_hands_on_what_its_camera_sees_between_runs(tmp_path: Path) -> None:
    def crew(store: Path, led: LessonDesk) -> RigCrew:
        return RigCrew(file, told=led.ear, store=store, now=AT.isoformat)

    file = practice_rig(tmp_path, has_camera=True)
    for desk in served(file, crew=crew, clock_ns=time.monotonic_ns):
        page = desk.get("/lesson/new?kind=straight")
        desk.post("/lesson/new", {**fields(page), "do": "begin"}, drawn_at="/lesson/new?kind=straight")
        ended = time.monotonic() + 60
        while desk.client.get(SHOT).status_code != 200:  # asked again and again, as the page does
            assert time.monotonic() < ended
            threading.Event().wait(0.1)
        assert shown(desk)[beside(desk)].max() < 60
