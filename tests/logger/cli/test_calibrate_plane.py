"""`boatrun calibrate plane` as a technician types it."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.files import load_calibration, write_lens
from logger.cli import main
from logger.recording.rig_toml import read_rig
from tests.calibration import plane_picture
from tests.logger.station.test_plane_session import LENS_COVARIANCE, still

RIG = """format = "boatrun-rig/1"
name = "Basin"
simulated = true
gate_distance_mm = 1000

[tank]
length_mm = 1500  # by tape
width_mm = 500
water_depth_mm = 90

[[lines]]
name = "start"
role = "start"
x_mm = 300

[[lines]]
name = "finish"
role = "finish"
x_mm = 1300

[camera]
calibration = "camera.toml"
"""
LIVE = """
[camera.driver]
kind = "recorded_camera"
folder = "film"
"""


@pytest.fixture(scope="session")
def painted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("painted")
    for name in ("rim", "dry", "filled", "board 0", "board 1", "board 2"):
        cv2.imwrite(str(folder / f"{name}.png"), still(name).grey)
    return folder


@pytest.fixture
def rig(tmp_path: Path, painted: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A rig's folder with everything that is given to the command; it is the working folder."""
    shutil.copytree(painted, tmp_path, dirs_exist_ok=True)
    (tmp_path / "rig.toml").write_text(RIG, encoding="utf-8")
    write_lens(tmp_path / "lens.toml", plane_picture.LENS, LENS_COVARIANCE)
    lines = [f"{number},{x:g},{y:g},45" for number, (x, y) in plane_picture.RIM_MARKS.items()]
    (tmp_path / "marks.csv").write_text("\n".join(["mark,x_mm,y_mm,height_mm", *lines]) + "\n")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "rig.toml"


def slat() -> list[str]:
    return [f"{u:.1f},{v:.1f}" for u, v in plane_picture.slat_px()]


MARKS = "marks.csv"
RIM = [
    "calibrate",
    "plane",
    "rig.toml",
    "--by",
    "rim",
    "--lens",
    "lens.toml",
    "--picture",
    "rim.png",
    "--marks",
    "marks.csv",
]
FLOOR = [
    "calibrate", "plane", "rig.toml", "--by", "floor", "--lens", "lens.toml", "--grid", "5x3", "--step-mm", "325,180",
    "--first-mm", "100,-180",
]  # fmt: skip


def corners() -> list[str]:
    return ["--corner-px", *(f"{u:.0f},{v:.0f}" for u, v in plane_picture.corner_px(wet=False))]


def test_by_rim_it_is_told_kept_and_entered(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    checks = ["--check-length", *slat(), "1000±1", "--check-length", *slat(), "gates"]
    assert main([*RIM, "--u-mark-mm", "0.5", "--u-height-mm", "0.7", *checks, "--write"]) == 0
    out = capsys.readouterr().out
    assert "water plane from marks on the rim: places are good to ± 2." in out
    assert "all over the tank: good" in out
    assert "of the ruler's 1000.0 ± 1.1 mm" in out
    assert "of the gate distance's 1000.0 ± 3.9 mm" in out
    assert "within what both allow" in out
    (folder,) = (rig.parent / "plane").iterdir()
    entered = read_rig(rig).camera
    assert entered is not None
    assert rig.parent / entered.calibration == folder / "camera.toml"
    assert "# by tape" in rig.read_text(encoding="utf-8")
    calibration = load_calibration(folder / "camera.toml")
    np.testing.assert_allclose(calibration.view.pose.camera_mm, plane_picture.EYE.place_mm, atol=3)
    assert calibration.evidence["worst_mm"] < 3


def test_a_second_one_takes_the_lens_of_the_first_and_is_set_beside_it(
    rig: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*RIM, "--write"]) == 0
    first = read_rig(rig).camera
    again = [word for word in RIM if word not in {"--lens", "lens.toml"}]
    assert main(again) == 0
    out = capsys.readouterr().out
    assert "beside the calibration in use" in out
    assert "places move by up to 0.0 mm, lengths by +0.00%" in out
    assert "not entered; --write would set camera.calibration" in out
    assert read_rig(rig).camera == first
    assert len(list((rig.parent / "plane").iterdir())) == 2


def test_the_dry_tank_and_then_the_filled_one(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = [*FLOOR, *corners(), "--dry", "dry.png", "--filled", "filled.png", "--depth-mm", "101", "--write"]
    assert main([*words, "--check-length", *slat(), "1000"]) == 0
    out = capsys.readouterr().out
    assert "what the water does: it lifts the floor" in out
    assert "every length 5." in out
    assert "by the ruler and by both pictures" in out
    worst, *better = (float(mm) for mm in re.findall(r"(?:good to|help: [^±]*) ± (\d\.\d) mm", out))
    assert "would help: measure the marks' places and the depths anew, both twice as well" in out
    assert "would help: read the depth at the four corners of the grid, too" in out
    assert 3.0 < worst < 4.5
    assert better == sorted(better)
    assert better[0] < 0.85 * worst
    assert read_rig(rig).tank.water_depth_mm == pytest.approx(100, abs=2.5)
    (folder,) = (rig.parent / "plane").iterdir()
    assert {path.name for path in folder.iterdir()} >= {"map.svg", "seen-1.png", "seen-2.png", "points.csv"}


def test_by_board(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pictures = [f"board {n}.png" for n in range(3)]
    words = ["calibrate", "plane", "rig.toml", "--by", "board", "--lens", "lens.toml", "--marks", "marks.csv"]
    assert main([*words, "--picture", *pictures, "--square-mm", "33"]) == 0
    out = capsys.readouterr().out
    assert "water plane from a floating board" in out
    assert "in 4 pictures" in out


def film(folder: Path) -> None:
    """Two seconds of the rim, as our recorder keeps them."""
    folder.mkdir()
    data = cv2.imencode(".jpg", still("rim").grey, (cv2.IMWRITE_JPEG_QUALITY, 95))[1].tobytes()
    (folder / "video.mjpeg").write_bytes(data * 60)
    (folder / "frames.csv").write_text("frame,t_ns\n" + "".join(f"{n},{10**9 + n * 33_000_000}\n" for n in range(60)))


def test_with_the_rigs_own_camera(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    film(rig.parent / "film")
    (rig.parent / "film" / "recording.toml").write_text(
        'format = "boatrun-recording/1"\nid = "a"\nkind = "straight"\nrecorded_at = 2026-05-04T10:15:00+02:00\n'
        '[boat]\nname = "none"\n'
    )
    assert main([*RIM, "--write"]) == 0
    shutil.copy(rig, rig.parent / "film" / "rig.toml")
    named = read_rig(rig).camera
    assert named is not None
    (rig.parent / "film" / named.calibration).parent.mkdir(parents=True)
    shutil.copy(rig.parent / named.calibration, rig.parent / "film" / named.calibration)
    rig.write_text(
        rig.read_text(encoding="utf-8") + LIVE.replace('"film"', f'"{rig.parent / "film"}"'), encoding="utf-8"
    )
    words = [word for word in RIM if word not in {"--picture", "rim.png"}]
    assert main(words) == 0
    printed = capsys.readouterr()
    assert "picture 1 of 1 is taken" in printed.err
    assert printed.out.count("water plane from marks on the rim") == 2


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([*RIM, "--dry", "dry.png"], "--dry is for --by floor; found --by rim"),
        ([*FLOOR, *corners(), "--picture", "dry.png"], "found --picture with --by floor; say --dry or --filled"),
        ([*FLOOR, *corners(), "--dry", "dry.png"], r"how deep is the water\? Found no --depth-mm; put a ruler"),
        ([*FLOOR, *corners(), "--dry", "dry.png", "--depth-mm", "9"], "the rig file says 90 mm: was it typed in cm"),
        ([*FLOOR, *corners(), "--depth-mm", "100"], "found neither --dry nor --filled"),
        ([*FLOOR, "--depth-mm", "9", "--dry", "dry.png"], "--grid also needs --step-mm .* and --corner-px"),
        ([*FLOOR, *corners(), "--depth-mm", "9", "--dry", "dry.png", "--marks", MARKS], "found both --grid and"),
        ([word for word in RIM if word not in {"--marks", "marks.csv"}], "found no --marks; wanted a table"),
        ([word for word in RIM if word not in {"--lens", "lens.toml"}], "no such calibration yet; wanted the lens"),
        ([word for word in RIM if word not in {"--picture", "rim.png"}], r"there is no \[camera.driver\]"),
        ([*RIM, "--check-length", "1,2", "3;4", "1000"], "found '3;4'; wanted two numbers with a comma"),
        ([*RIM, "--check-length", "1,2", "3,4", "long"], "found 'long'; wanted a length in mm such as 1000 or 1000±2"),
        (["calibrate", "plane", "rig.toml", "--by", "board", "--lens", "lens.toml", "--marks", "marks.csv", "--picture",
          "board 0.png", "--square-mm", "3.3"], r"found --square-mm 3.3 \(were cm typed\?\); the plane board"),
    ],
)  # fmt: skip
def test_what_is_missing_or_does_not_go_together_is_told(
    rig: Path, words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = rig.read_bytes()
    assert main(words) == 2
    assert re.search(told, capsys.readouterr().err)
    assert rig.read_bytes() == before
    assert not (rig.parent / "plane").exists()


def test_a_lens_without_doubt_is_not_used(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_lens(rig.parent / "sure.toml", plane_picture.LENS, np.zeros((9, 9)))
    assert main([word.replace("lens.toml", "sure.toml") for word in RIM]) == 2
    assert "does not say how well it is known" in capsys.readouterr().err


def table(
    *, swapped: tuple[int, ...] = (), scale: float = 1.0, height_mm: float = 45.0, wet: tuple[int, ...] = ()
) -> str:
    """The table of the rim's marks with a mistake in it."""
    places = list(plane_picture.RIM_MARKS.values())
    for first, second in zip(swapped[::2], swapped[1::2], strict=True):
        places[first], places[second] = places[second], places[first]
    rows = [
        f"{n},{x * scale:g},{y * scale:g},{(-20.0 if n in wet else height_mm) * scale:g}"
        for n, (x, y) in enumerate(places)
    ]
    return "\n".join(["mark,x_mm,y_mm,height_mm", *rows]) + "\n"


def on_a_line() -> str:
    """Five marks on one wall, pointed at."""
    places = [(x, -285.0, 45.0) for x in (50.0, 400.0, 750.0, 1100.0, 1450.0)]
    rows = [
        f"w{n},{x:g},{y:g},{z:g},{u:.1f},{v:.1f}"
        for n, ((x, y, z), (u, v)) in enumerate(zip(places, plane_picture.EYE.see(places).tolist(), strict=True))
    ]
    return "\n".join(["mark,x_mm,y_mm,height_mm,column_px,row_px", *rows]) + "\n"


def exchanged() -> str:
    rows = [f"{n},{y:g},{x:g},45" for n, (x, y) in plane_picture.RIM_MARKS.items()]
    return "\n".join(["mark,x_mm,y_mm,height_mm", *rows]) + "\n"


@pytest.mark.parametrize(
    ("marks", "told"),
    [
        (table(scale=0.1), "are all lengths in mm"),
        (table(swapped=(1, 2)), "do not fit together .* these pixels belonged to the places "),
        (exchanged(), "or with x and y exchanged"),
        (table(wet=(1, 4)), "mark 1, 4 would be under water"),
        (table(height_mm=0.0), r"-3\.\d%: they do not agree; perhaps the marks stand about 4\d mm higher"),
        (on_a_line(), "line"),
    ],
    ids=["cm", "order", "x and y", "half under water", "no heights", "collinear"],
)
def test_marks_that_were_written_down_wrong_are_refused(
    rig: Path, marks: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (rig.parent / "marks.csv").write_text(marks)
    refused(rig, [*RIM, "--check-length", *slat(), "1000"], told, capsys)


def test_a_grid_on_the_floor_that_was_taken_for_the_surface_is_refused_by_a_ruler_on_the_water(
    rig: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its residuals are as small as those of a right one: only a length on the water tells."""
    rows = [
        f"c{n},{x:g},{y:g},0,{u:.1f},{v:.1f}"
        for n, ((x, y), (u, v)) in enumerate(
            zip(((100, -180), (1400, -180), (1400, 180), (100, 180)), plane_picture.corner_px(wet=True), strict=True)
        )
    ]
    (rig.parent / "marks.csv").write_text("\n".join(["mark,x_mm,y_mm,height_mm,column_px,row_px", *rows]) + "\n")
    told = r"\+\d\.\d%: they do not agree; .*the marks lie on the floor and were taken to be at the surface: give them"
    refused(rig, [*RIM, "--check-length", *slat(), "1000"], told, capsys)


def refused(rig: Path, words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    """One line, status 2, and everything as it was."""
    before = rig.read_bytes()
    assert main([*words, "--write"]) == 2
    said = capsys.readouterr().err
    assert re.search(told, said), said
    assert said.count("\n") == 1
    assert rig.read_bytes() == before
    assert not (rig.parent / "plane").exists()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda p: p[:, ::-1], "that the picture is not mirrored"),
        (lambda p: cv2.rotate(p, cv2.ROTATE_90_CLOCKWISE), "found 720 x 1280 pixels; it is turned on its side"),
        (lambda p: cv2.GaussianBlur(p, (0, 0), 6), "none of the marks is to be seen"),
        (lambda p: cv2.convertScaleAbs(p, alpha=3.0), r"only \d of 6 marks are seen \(not .*nor too bright"),
        (
            lambda p: np.zeros((3000, 4000), np.uint8),
            "found 4000 x 3000 pixels; the lens was calibrated for 1280 x 720",
        ),
    ],
    ids=["mirrored", "turned", "blurred", "overexposed", "12 megapixels"],
)
def test_pictures_that_cannot_be_used_are_refused(rig: Path, change, told: str, capsys) -> None:
    path = str(rig.parent / "rim.png")
    cv2.imwrite(path, change(cv2.imread(path, cv2.IMREAD_GRAYSCALE)))
    refused(rig, RIM, told, capsys)


def test_a_board_of_97_percent_and_corners_in_the_wrong_order_are_refused(
    rig: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cv2.imwrite(str(rig.parent / "small.png"), still("small board").grey)
    words = ["calibrate", "plane", "rig.toml", "--by", "board", "--lens", "lens.toml", "--marks", "marks.csv"]
    refused(rig, [*words, "--picture", "small.png"], "was it printed at 97 %", capsys)
    a, b, c, d = corners()[1:]
    for order, told in (([b, a, c, d], "do not go round the grid"), ([b, c, d, a], "check their order")):
        refused(rig, [*FLOOR, "--corner-px", *order, "--dry", "dry.png", "--depth-mm", "100"], told, capsys)
