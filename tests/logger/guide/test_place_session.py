from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from calibration.readings import read_length
from logger.errors import ConfigError, InputError
from logger.guide import place_session as session
from logger.recording.place_list import place_of_words
from logger.recording.rig_toml import read_rig
from logger.recording.stills import Still
from logger.station.plane_session import work_out as plane_of
from tests.logger.cli.test_calibrate_plane import RIG
from tests.logger.station.test_plane_session import by_rim, still

AT = datetime(2026, 5, 4, 10, 15, tzinfo=UTC)


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    (tmp_path / "rig.toml").write_text(RIG, encoding="utf-8")
    return tmp_path / "rig.toml"


def test_places_are_worked_out_drawn_kept_and_entered(rig_file: Path) -> None:
    view = plane_of(by_rim()).fit.view
    taped = session.taped_of([read_length("1000"), read_length("1001")], place="here")
    given = [place_of_words("mark mark x=800"), place_of_words("finish finish @1000,300 @1000,420")]
    wish = session.PlaceWish(read_rig(rig_file), view, given, still("rim"), taped)
    made = session.work_out(wish, place="here")
    drawn = made.seen()
    assert drawn is not None
    assert drawn.shape == (720, 1280, 3)
    assert "mark line mark: x = 800.0 mm" in made.told()
    folder = session.kept(made, rig_file.parent / "places", at=AT)
    assert {path.name for path in folder.iterdir()} == {"plan.svg", "picture.png", "seen.png", "places.toml"}
    older = session.entered(made, rig_file, folder, at=AT)
    assert older.read_text() == RIG
    rig = read_rig(rig_file)
    assert rig.line("mark") is not None
    assert rig.gate_distance_mm == pytest.approx(1000.5)
    assert f"# places/{folder.name}" in rig_file.read_text()


def test_without_a_picture_there_is_only_the_plan(rig_file: Path) -> None:
    wish = session.PlaceWish(read_rig(rig_file), None, [place_of_words("mark mark x=800")])
    made = session.work_out(wish, place="here")
    assert made.seen() is None
    folder = session.kept(made, rig_file.parent / "places", at=AT)
    assert {path.name for path in folder.iterdir()} == {"plan.svg", "places.toml"}


def test_what_cannot_be_is_refused(rig_file: Path) -> None:
    rig = read_rig(rig_file)
    assert session.view_of(rig, rig_file) is None
    with pytest.raises(ConfigError, match=r"here.*is not in the water"):
        session.work_out(session.PlaceWish(rig, None, [place_of_words("port p 9000,0 9100,0 9100,90")]), place="here")
    with pytest.raises(InputError, match="rim marks are looked for in a picture"):
        session.work_out(session.PlaceWish(rig, None, [place_of_words("mark mark #1/45 #2/45")]), place="here")
    with pytest.raises(InputError, match="here: "):
        session.taped_of([read_length("1000"), read_length("1100")], place="here")
    small = Still("photo", np.zeros((480, 640), np.uint8))
    with pytest.raises(InputError, match="photo: found 640 x 480 pixels; the calibration is for 1280 x 720"):
        session.check_size(small, plane_of(by_rim()).fit.view, place="photo")
