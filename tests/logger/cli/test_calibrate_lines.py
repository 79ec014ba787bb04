from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.files import load_view
from calibration.tags import RIM_FAMILY
from logger.cli import main
from logger.recording.rig_toml import read_rig


@pytest.fixture
def rig(filmed_once: Path, tmp_path: Path) -> Path:
    """The rig of the filmed recording, with its calibration beside it and no finish line."""
    shutil.copy(filmed_once / "camera.toml", tmp_path / "camera.toml")
    path = tmp_path / "rig.toml"
    text = (filmed_once / "rig.toml").read_text()
    text = re.sub(r'\[\[lines\]\]\nname = "finish"\n(?:[a-z_]+ = .*\n)+', "", text)
    path.write_text(re.sub(r'\[\[gates\]\]\nname = "finish-gate"\n(?:[a-z_]+ = .*\n)+', "", text))
    return path


@pytest.fixture
def photo(filmed_once: Path, tmp_path: Path) -> Path:
    data = (filmed_once / "video.mjpeg").read_bytes()
    path = tmp_path / "photo.jpg"
    path.write_bytes(data[: data.index(b"\xff\xd9") + 2])
    return path


def said_by(capsys: pytest.CaptureFixture[str], *words: str | Path, status: int = 0) -> str:
    assert main(["calibrate", "lines", *map(str, words)]) == status
    shown = capsys.readouterr()
    return shown.out if status == 0 else shown.err


def test_typed_places_are_kept_drawn_and_entered(rig: Path, photo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = rig.read_text()
    said = said_by(
        capsys, rig, "--picture", photo, "--place", "finish finish x=600", "--place", "beam finish-gate x=602",
        "--place", 'port "the harbour" 300,50 500,50 500,150 300,150', "--taped", "60.2 cm", "--taped", "602.5",
        "--write",
    )  # fmt: skip
    now = read_rig(rig)
    assert now.line("finish") is not None
    gate = now.gate_at("finish")
    assert gate is not None
    assert (gate.name, gate.offset_mm) == ("finish-gate", pytest.approx(2.0, abs=0.01))
    assert now.zones[0].name == "the harbour"
    assert now.gate_distance_mm == pytest.approx(602.25)
    assert 0.8 < now.u_gate_distance_mm < 1.2
    assert "within what both allow" in said
    (older,) = rig.parent.glob("rig-before-*.toml")
    assert older.read_text() == before
    (folder,) = (rig.parent / "places").iterdir()
    assert tomllib.loads((folder / "places.toml").read_text())["given"][0]["kind"] == "finish"
    assert cv2.imread(str(folder / "seen.png")).shape == cv2.imread(str(photo)).shape
    assert (folder / "plan.svg").exists()


def test_without_being_told_to_nothing_is_entered(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = rig.read_text()
    said = said_by(capsys, rig, "--place", "finish finish x=600")
    assert "not entered; --write would enter this" in said
    assert rig.read_text() == before


def test_clicked_points_come_from_a_table_and_water_is_reckoned_with(
    rig: Path, photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    view, depth = load_view(rig.parent / "camera.toml"), read_rig(rig).tank.water_depth_mm
    seen = view.to_pixels_through_water([[500.0, y, -depth] for y in (-150.0, 150.0)])
    points = rig.parent / "points.csv"
    rows = "".join(f"finish,finish,{u:.3f},{v:.3f},floor\n" for u, v in seen)
    points.write_text("name,kind,column_px,row_px,height_mm\n" + rows)
    said = said_by(capsys, rig, "--picture", photo, "--points", points, "--write")
    finish = read_rig(rig).line("finish")
    assert finish is not None
    assert finish.a_mm[0] == pytest.approx(500.0, abs=0.05)
    assert "finish: what is seen on the floor at" in said
    assert "water depth" in said


def test_rim_marks_are_found_in_the_picture(rig: Path, photo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two marks painted by OpenCV's own generator, square to the picture, as they would stand 45 mm above the water."""
    view = load_view(rig.parent / "camera.toml")
    picture = cv2.imread(str(photo), cv2.IMREAD_GRAYSCALE)
    family = cv2.aruco.getPredefinedDictionary(RIM_FAMILY)
    for number, y in ((2, -150.0), (3, 150.0)):
        u, v = np.rint(view.to_pixels([[500.0, y, 45.0]])[0]).astype(int)
        picture[v - 34 : v + 34, u - 34 : u + 34] = 255
        picture[v - 24 : v + 24, u - 24 : u + 24] = cv2.aruco.generateImageMarker(family, number, 48)
    cv2.imwrite(str(photo), picture)
    said_by(capsys, rig, "--picture", photo, "--place", "finish finish #2/45 #3/45", "--write")
    finish = read_rig(rig).line("finish")
    assert finish is not None
    assert (finish.a_mm[0] + finish.b_mm[0]) / 2 == pytest.approx(500.0, abs=3.0)  # whole pixels are 1 to 2 mm


def test_the_page_to_click_on(rig: Path, photo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = rig.parent / "click.html"
    said_by(capsys, rig, "--picture", photo, "--page", page)
    assert "data:image/jpeg;base64," in page.read_text()
    assert "there is such a file already" in said_by(capsys, rig, "--picture", photo, "--page", page, status=2)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "found no places; give --place, --points or --taped"),
        (("--page", "new.html"), "--page needs the picture to click on"),
        (("--place", "finish finish #2/45 #3/45"), "rim marks are looked for in a picture"),
        (("--place", "finish finish x=90000"), "found 'x=90000'; wanted numbers"),
        (("--place", "finish finish 5000,-20 5000,20"), "is not in the water"),
        (("--taped", "1000", "--taped", "1100"), "tape it again"),
        (("--place", "start other x=10"), "there is a start line already"),
        (("--place", "finish a x=500", "--place", "finish a x=501"), "found this name twice"),
    ],
)
def test_what_is_wrong_is_one_line_and_nothing_is_kept(
    rig: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    try:
        said = said_by(capsys, rig, *words, status=2)
    except SystemExit:
        said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
    assert not (rig.parent / "places").exists()


def test_a_picture_of_another_size_is_refused(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    small = rig.parent / "small.png"
    cv2.imwrite(str(small), np.zeros((90, 160), np.uint8))
    said = said_by(capsys, rig, "--picture", small, "--place", "finish finish x=500", status=2)
    assert "found 160 x 90 pixels; the calibration is for" in said
