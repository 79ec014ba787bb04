"""The water plane by the page, on painted pictures; the truth is the painter's own camera."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.files import load_view, write_lens
from logger.recording.rig_toml import read_rig
from tests.calibration import plane_picture
from tests.calibration.plane_picture import LENS
from tests.logger.station.test_plane_session import LENS_COVARIANCE, still
from tests.logger.web.conftest import Desk
from tests.logger.web.test_plane_form import FLOOR as EVERY_FIELD
from tests.logger.web.test_plane_form import RIM

FLOOR = EVERY_FIELD | {"depth": "99"}


@pytest.fixture
def lensed(desk: Desk) -> Desk:
    folder = desk.folder / "lens" / "lens-2026-05-01T101500"
    folder.mkdir(parents=True)
    write_lens(folder / "lens.toml", LENS, LENS_COVARIANCE)
    return desk


def sent(name: str, slot: str) -> list[tuple[str, tuple[str, bytes]]]:
    return [(slot, (f"{name}.png", cv2.imencode(".png", still(name).grey)[1].tobytes()))]


def ends() -> dict[str, str]:
    a, b = plane_picture.slat_px().tolist()
    return {"check_mm": "1000", "end_1": f"{a[0]:.1f},{a[1]:.1f}", "end_2": f"{b[0]:.1f},{b[1]:.1f}"}


def off_mm(desk: Desk) -> float:
    camera = read_rig(desk.rig_file).camera
    assert camera is not None
    view = load_view(desk.folder / camera.calibration)
    truth = np.array([[x, y] for x in np.linspace(0, 1500, 7) for y in (-250, 0, 250)])
    pixels = plane_picture.EYE.see(np.column_stack([truth, np.zeros(len(truth))]))
    return float(np.linalg.norm(view.to_plane(pixels) - truth, axis=1).max())


def test_a_floor_seen_dry_and_filled_is_worked_out_shown_and_used(lensed: Desk) -> None:
    desk = lensed
    desk.get("/plane?way=floor")
    desk.post("/plane/picture/dry", FLOOR, drawn_at="/plane", files=sent("dry", "dry"))
    assert 'value="325"' in desk.get("/plane"), "what was typed is there still"
    answer = desk.post("/plane/work", FLOOR | ends(), drawn_at="/plane", files=sent("filled", "filled"))
    where = desk.worked(answer)
    text = desk.get(where)
    assert "Look here" not in text, text[text.index("Look here") :][:600]
    assert "at worst, anywhere in the tank" in text
    assert "what the water does: it lifts the floor" in text
    assert "map.svg" in text
    assert desk.client.get(where.replace("/plane/result", "/evidence/plane") + "/map.svg").status_code == 200
    before = desk.rig_file.read_text()
    folder = where.rsplit("/", 1)[1]
    assert desk.post("/plane/use", {"folder": folder}, drawn_at=where).headers["location"] == "/rig?said=plane"
    assert desk.rig_file.read_text() != before
    assert off_mm(desk) < 2.5
    assert "The rig uses it." in desk.get(where)
    assert "places on the water are good to" in desk.get("/rig")


def test_marks_on_the_rim(lensed: Desk) -> None:
    desk = lensed
    desk.get("/plane?way=rim")
    where = desk.worked(desk.post("/plane/work", RIM | ends(), drawn_at="/plane", files=sent("rim", "rim")))
    desk.post("/plane/use", {"folder": where.rsplit("/", 1)[1]}, drawn_at=where)
    assert off_mm(desk) < 2.5


def test_a_wrong_scale_is_refused_and_nothing_is_kept(lensed: Desk) -> None:
    desk = lensed
    desk.get("/plane?way=rim")
    wrong = RIM | ends() | {"check_mm": "1050"}
    where = desk.worked(desk.post("/plane/work", wrong, drawn_at="/plane", files=sent("rim", "rim")))
    assert where.startswith("/progress/")
    assert "they do not agree" in desk.get(where)
    assert not (desk.folder / "plane").exists()


def test_all_mistakes_are_told_at_once_and_no_picture_is_one_of_them(lensed: Desk) -> None:
    desk = lensed
    desk.get("/plane?way=floor")
    answer = desk.post("/plane/work", {"way": "floor", "step_x": "a"}, status=422, drawn_at="/plane")
    assert answer.text.count("<li>") > 5
    assert "no file was chosen" in desk.post("/plane/picture/dry", {}, status=422, drawn_at="/plane").text
    assert desk.client.post("/plane/picture/other", headers={"Origin": "http://localhost"}).status_code == 404


def test_a_folder_of_another_place_cannot_be_used(lensed: Desk) -> None:
    desk = lensed
    before = desk.rig_file.read_text()
    for folder in ("", "..", "../lens/lens-2026-05-01T101500", "plane-2026-05-04T101500"):
        status = 422 if folder.startswith("plane-") else 404
        answer = desk.post("/plane/use", {"folder": folder}, status=status, drawn_at="/lens")
        assert "Look here" in answer.text
    assert desk.rig_file.read_text() == before


def test_a_picture_is_taken_by_the_rigs_camera_and_can_be_forgotten(lensed: Desk, filmed_once) -> None:
    desk = lensed
    driver = f'\n[camera.driver]\nkind = "recorded_camera"\nfolder = "{filmed_once}"\n'
    desk.rig_file.write_text(desk.rig_file.read_text() + driver)
    desk.get("/plane?way=rim")
    assert desk.worked(desk.post("/plane/picture/rim", {"take": "1"}, drawn_at="/plane")) == "/plane#pictures"
    assert "/draft/planepictures/rim.png" in desk.get("/plane")
    desk.post("/plane/picture/rim", {"forget": "1"}, drawn_at="/plane")
    assert "/draft/planepictures/rim.png" not in desk.get("/plane")
