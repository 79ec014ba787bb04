from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import pytest

from logger.checkup.steps import Step, next_step, steps
from logger.config import Boat
from logger.recording.boat_card import write_boat
from logger.recording.rig_toml import read_rig

TODAY = date(2026, 5, 10)
NAMES = ["lens", "plane", "lines", "light", "cards", "gates", "check"]
RIG = """format = "boatrun-rig/1"
name = "Bath"
simulated = true
gate_distance_mm = 1200
[tank]
length_mm = 1600
width_mm = 500
origin_mm = [-200, -250]
water_depth_mm = 100
[[lines]]
name = "start"
role = "start"
x_mm = 0
[[lines]]
name = "finish"
role = "finish"
x_mm = 1200
[[gates]]
name = "A"
line = "start"
[[gates]]
name = "B"
line = "finish"
[camera]
calibration = "camera.toml"
"""
CAMERA = """format = "boatrun-camera/1"
id = "by hand"
[lens]
width_px = 1280
height_px = 720
fx_px = 600
fy_px = 600
cx_px = 639.5
cy_px = 359.5
[pose]
rotation_vector = [3.141592653589793, 0, 0]
camera_mm = [600, 0, 1400]
"""


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "rig.toml"
    path.write_text(RIG)
    yield path
    shutil.rmtree(tmp_path, ignore_errors=True)


def look(rig: Path, today: date = TODAY) -> dict[str, Step]:
    found = steps(rig, read_rig(rig), today=today)
    assert [step.name for step in found] == NAMES
    return {step.name: step for step in found}


def evidence(rig: Path, kind: str, day: str, *files: str) -> Path:
    folder = rig.parent / kind / f"{kind}-{day}T101500"
    folder.mkdir(parents=True)
    for file in files:
        (folder / file).write_text("")
    return folder


def test_a_new_rig_begins_with_the_lens(rig: Path) -> None:
    found = look(rig)
    assert [step.standing for step in found.values()] == ["to do", "to do", "done", "to do", "to do", "to do", "to do"]
    first = next_step(list(found.values()))
    assert first is not None
    assert first.name == "lens"
    assert first.words[:2] == ("calibrate", "lens")
    assert "camera.toml is not there" in found["plane"].found


def test_a_rig_without_a_camera_needs_only_lines_and_cards(rig: Path) -> None:
    rig.write_text(RIG.partition("[camera]")[0])
    standing = {name: step.standing for name, step in look(rig).items()}
    assert standing["lens"] == standing["plane"] == standing["light"] == standing["gates"] == "not needed"
    assert standing["lines"] == "done"


def test_a_lens_that_was_measured_is_named_and_shown(rig: Path) -> None:
    folder = evidence(rig, "lens", "2026-05-04", "lens.toml", "coverage.svg")
    found = look(rig)["lens"]
    assert found.standing == "done"
    assert found.found == "measured: lens-2026-05-04T101500, 6 days ago"
    assert found.pictures == (folder / "coverage.svg",)
    assert str(folder / "lens.toml") in look(rig)["plane"].words


def test_evidence_that_is_not_whole_does_not_count(rig: Path) -> None:
    evidence(rig, "lens", "2026-05-04", "corners.csv")
    assert look(rig)["lens"].standing == "to do"


def test_what_is_older_than_ninety_days_is_old(rig: Path) -> None:
    evidence(rig, "lens", "2026-01-04", "lens.toml")
    assert look(rig)["lens"].standing == "old"


def test_a_plane_tells_its_worth_and_a_newer_lens_makes_it_old(rig: Path) -> None:
    (rig.parent / "camera.toml").write_text(CAMERA)
    assert "does not say how well it is known" in look(rig)["plane"].found
    (rig.parent / "camera.toml").write_text(CAMERA + "u_camera_height_mm = 1.0\n")
    found = look(rig)["plane"]
    assert found.standing == "done"
    assert "places on the water are good to ± 1." in found.found  # 860 mm out at 1 in 1400, twice
    evidence(rig, "plane", "2026-05-04", "camera.toml", "map.svg")
    evidence(rig, "lens", "2026-05-05", "lens.toml")
    assert "the lens was measured after it" in look(rig)["plane"].found
    assert look(rig)["plane"].standing == "old"


def test_a_plane_that_was_made_but_not_entered_is_told(rig: Path) -> None:
    evidence(rig, "plane", "2026-05-04", "camera.toml")
    assert "plane-2026-05-04T101500 was made, but not entered (--write)" in look(rig)["plane"].found


def test_lines_that_were_clicked_before_the_plane_are_old(rig: Path) -> None:
    evidence(rig, "places", "2026-05-03", "places.toml", "seen.png")
    evidence(rig, "plane", "2026-05-04", "camera.toml")
    assert look(rig)["lines"].standing == "old"


def test_lines_are_wanted(rig: Path) -> None:
    rig.write_text(RIG.replace('role = "finish"', 'role = "start"'))
    assert "a start line and a finish or mark line are wanted" in look(rig)["lines"].found


def test_light_is_done_when_its_doubt_stands_in_the_rig_file(rig: Path) -> None:
    assert "never measured" in look(rig)["light"].found
    rig.write_text(RIG + "delay_s = 0.004\nu_delay_s = 0.0005\n")
    assert look(rig)["light"].found == "the camera is 4.0 ± 1.0 ms late"


def test_cards_are_counted_and_what_they_lack_is_told(rig: Path) -> None:
    at = datetime.fromisoformat("2026-05-04T10:15:00+02:00")
    (rig.parent / "cards").mkdir()
    write_boat(rig.parent / "cards" / "swan.toml", Boat("Swan", length_mm=200.0, freeboard_mm=20.0), at=at)
    assert look(rig)["cards"].found == "1 boat: Swan"
    write_boat(rig.parent / "cards" / "duck.toml", Boat("Duck"), at=at)
    assert look(rig)["cards"].found == "Duck lacks length or freeboard"
    (rig.parent / "cards" / "duck.toml").write_text("format = 3\n")
    assert "duck.toml cannot be read" in look(rig)["cards"].found


def test_gates_are_old_after_the_plane_was_done_again(rig: Path) -> None:
    evidence(rig, "gates", "2026-05-04", "gates.toml", "gates.svg")
    assert look(rig)["gates"].standing == "done"
    evidence(rig, "plane", "2026-05-05", "camera.toml")
    found = look(rig)["gates"]
    assert found.standing == "old"
    assert "done before the last plane" in found.found


def test_all_done_has_no_next_step() -> None:
    assert next_step([Step("lens", "done", ""), Step("light", "not needed", "")]) is None
