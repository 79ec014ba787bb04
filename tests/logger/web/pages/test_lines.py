from __future__ import annotations

from datetime import UTC, datetime

import cv2
import pytest

from logger.guide.plane_kept import entered, kept
from logger.recording.rig_toml import read_rig
from logger.station.plane_session import work_out
from tests.calibration.plane_picture import EYE
from tests.logger.station.test_plane_session import by_rim, still
from tests.logger.web.conftest import Desk

HEAD = "name,kind,column_px,row_px,height_mm\n"


def px(x: float, y: float) -> str:
    ((u, v),) = EYE.see([[x, y, 0.0]]).tolist()
    return f"{u:.1f},{v:.1f}"


@pytest.fixture
def planed(desk: Desk) -> Desk:
    folder = kept(work_out(by_rim()), desk.folder / "plane", at=datetime(2026, 5, 3, tzinfo=UTC), lens_file="")
    entered(folder, desk.rig_file)
    return desk


def test_the_picture_is_pointed_at_in_spanish(planed: Desk) -> None:
    planed.client.cookies.set("language", "es")
    text = planed.get("/lines")
    assert "Aún no hay puntos." in text
    assert "No point yet." not in text


def test_places_are_looked_at_first_and_only_then_entered(planed: Desk) -> None:
    desk = planed
    assert "/evidence/plane/" in desk.get("/lines"), "the plane's own picture is there to be clicked on"
    table = f"{HEAD}finish,finish,{px(1250, -200)},\nfinish,finish,{px(1250, 200)},\n"
    values = {"table": table, "mark_x": "800", "do": "look"}
    before = desk.rig_file.read_text()
    text = desk.post("/lines", values, status=200).text
    assert "mark line mark: x = 800.0 mm" in text
    assert "finish line finish: x = 1250" in text
    assert "/draft/linesdrawn/seen.png" in text
    assert "Enter this into the rig" in text
    assert table.strip() in text, "what was clicked is sent again with Enter"
    assert desk.rig_file.read_text() == before
    assert not (desk.folder / "places").exists()
    assert desk.post("/lines", values | {"do": "enter"}).headers["location"] == "/rig?said=lines"
    rig = read_rig(desk.rig_file)
    finish, mark = rig.line("finish"), rig.line("mark")
    assert finish is not None
    assert mark is not None
    # truth: where the painter's camera sees x = 1250
    assert (finish.a_mm[0] + finish.b_mm[0]) / 2 == pytest.approx(1250, abs=3)
    assert mark.a_mm[0] == 800
    (folder,) = (desk.folder / "places").iterdir()
    assert (folder / "seen.png").exists()
    assert len(list(desk.folder.glob("rig-before-*.toml"))) == 1


def test_the_tape_is_entered_and_readings_that_disagree_are_refused(planed: Desk) -> None:
    desk = planed
    answer = desk.post("/lines", {"taped_1": "100 cm", "taped_2": "110 cm", "do": "enter"}, status=422)
    assert "from beam to beam by tape" in answer.text
    desk.post("/lines", {"taped_1": "100 cm", "taped_2": "100.1 cm", "do": "enter"})
    assert read_rig(desk.rig_file).gate_distance_mm == pytest.approx(1000.5)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({}, "nothing was pointed at or typed yet"), ({"start_x": "near"}, "typed places: found"),
        ({"finish_x": "9000"}, "is not in the water|outside|water"), ({"words": "port harbour 1,2"}, "harbour"),
        ({"table": HEAD + "a,start,1,2\n"}, "points in the picture line 2"), ({"taped_1": "long"}, "by tape: found"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told_and_stays_as_it_was_typed(desk: Desk, values: dict[str, str], told: str) -> None:
    import re

    before = desk.rig_file.read_text()
    answer = desk.post("/lines", values | {"do": "enter"}, status=422)
    assert re.search(told, answer.text), answer.text
    for name, text in values.items():
        if name not in ("table", "words", "taped_1"):
            assert f'value="{text}"' in answer.text
    assert desk.rig_file.read_text() == before


def test_another_picture_may_be_sent_but_must_have_the_size(planed: Desk) -> None:
    desk = planed
    whole = cv2.imencode(".png", still("rim").grey)[1].tobytes()
    desk.post("/lines/picture", {}, drawn_at="/lines", files=[("picture", ("a.png", whole))])
    assert "/draft/linespicture/picture.png" in desk.get("/lines")
    half = cv2.imencode(".png", still("rim").grey[::2, ::2])[1].tobytes()
    desk.post("/lines/picture", {}, drawn_at="/lines", files=[("picture", ("a.png", half))])
    answer = desk.post("/lines", {"mark_x": "800", "do": "look"}, status=422)
    assert "found 640 x 360 pixels" in answer.text
