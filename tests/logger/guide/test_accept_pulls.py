from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from calibration.beams import Sighting, solve_beams
from calibration.quantity import Source
from logger.checkup.gate_trials import Judged
from logger.config import CameraSetup, Gate, Line, Rig, Tank
from logger.errors import InputError
from logger.guide.accept_pulls import judged, pulls_judged
from logger.recording.rig_toml import read_rig
from logger.settings import dump

TANK = Tank(((-300.0, -250.0), (1500.0, -250.0), (1500.0, 250.0), (-300.0, 250.0)), 90.0)
LINES = (
    Line("start", "start", (0.0, -250.0), (0.0, 250.0)),
    Line("finish", "finish", (1200.0, -250.0), (1200.0, 250.0)),
)
CAMERA = CameraSetup(None, "camera.toml", delay_s=0.03, u_delay_s=0.001)


def rig(*, a_mm: float = 2.0, b_mm: float = 3.0, taped_mm: float | None = 1201.0, camera: CameraSetup = CAMERA) -> Rig:
    gates = (Gate("A", "start", a_mm, 0.5), Gate("B", "finish", b_mm, 0.5))
    return Rig("bath", TANK, LINES, gates, camera=camera, gate_distance_mm=taped_mm, u_gate_distance_mm=1.0)


def told(
    rig: Rig, *, speeds: tuple[float, ...] = (100.0, 400.0, 800.0), late_s: float = 0.0, longer: float = 0.0
) -> Judged:
    """Pulls at these speeds through beams 2 and 3 mm past their lines, seen by a camera `late_s` later than it says."""
    delay = Source("camera delay")
    sightings = [
        Sighting(
            gate, f"pull {number}", true_mm + speed * late_s, 0.3, {delay: speed * max(rig.camera.u_delay_s, 0.05)
            if rig.camera is not None and rig.camera.u_delay_s == 0 else speed * 0.001}, speed,
        )
        for number, speed in enumerate(speeds)
        for gate, true_mm in (("A", 2.0), ("B", 3.0 + longer))
    ]  # fmt: skip
    return judged(solve_beams(sightings), rig)


def test_gates_where_the_file_has_them_pass_with_their_numbers() -> None:
    found = told(rig())
    assert found.passed, found
    assert found.found[0].startswith("gate A: the camera has it ")
    assert "± " in found.found[0]
    assert any("moments of gates and camera are" in sentence for sentence in found.found)
    assert any("from beam to beam 1201" in sentence for sentence in found.found)


def test_a_gate_that_was_moved_fails() -> None:
    found = told(rig(b_mm=15.0))
    assert not found.passed
    (said,) = [sentence for sentence in found.found if sentence.startswith("gate B")]
    assert "they do not agree" in said
    assert "boatrun calibrate gates" in found.cure


def test_a_late_camera_is_told_by_slow_and_fast_pulls() -> None:
    """Nobody measured its delay, so 50 ms of doubt stand for it; it is 40 ms off."""
    never = CameraSetup(None, "camera.toml")
    found = told(rig(camera=never), late_s=0.040)
    assert not found.passed
    (said,) = [sentence for sentence in found.found if sentence.startswith("moments")]
    assert "+40." in said or "+39." in said
    assert "boatrun calibrate light" in found.cure


def test_pulls_all_alike_say_nothing_of_moments_and_do_not_pass() -> None:
    found = told(rig(), speeds=(300.0, 310.0, 320.0))
    assert not found.passed
    assert "twice as fast" in found.cure


def test_a_tape_that_says_something_else_fails() -> None:
    found = told(rig(taped_mm=1230.0))
    assert not found.passed
    assert "tape again" in found.cure
    assert not told(rig(taped_mm=None)).passed


def test_two_passages_are_too_few() -> None:
    found = told(rig(), speeds=(100.0, 400.0))
    assert not found.passed
    assert "2 usable passages; 3 are wanted" in found.found[0]


# --- recordings that say nothing; three simulated pulls are judged in test_check_acceptance.py ---


@pytest.fixture
def place(filmed_once: Path, tmp_path: Path) -> Path:
    """A rig file beside three recordings with pictures."""
    for number in (1, 2, 3):
        folder = Path(shutil.copytree(filmed_once, tmp_path / f"pull-{number}"))
        card = folder / "recording.toml"
        card.write_text(re.sub(r'^id = ".*"$', f'id = "pull-{number}"', card.read_text(), flags=re.MULTILINE))
    for name in ("rig.toml", "camera.toml"):
        shutil.copy(filmed_once / name, tmp_path / name)
    return tmp_path / "rig.toml"


def pulls(place: Path) -> list[Path]:
    return sorted(place.parent.glob("pull-*"))


def test_pulls_that_say_nothing_are_refused_before_any_picture_is_looked_at(place: Path) -> None:
    rig = read_rig(place)
    with pytest.raises(InputError, match="found 2; wanted 3 or more"):
        pulls_judged(rig, place, pulls(place)[:2])
    camera = place.with_name("camera.toml")
    text = camera.read_text()
    camera.write_text(text.replace('id = "', 'id = "newer ', 1))
    with pytest.raises(InputError, match="recorded with calibration"):
        pulls_judged(rig, place, pulls(place))
    camera.write_text(text)
    evidence = place.with_name("gates") / "gates-2026-11-26T100000"
    evidence.mkdir(parents=True)
    (evidence / "gates.toml").write_text(dump({"recordings": [str(pulls(place)[1])]}))
    with pytest.raises(InputError, match=r"pull-2: the gates were calibrated with this pull"):
        pulls_judged(rig, place, pulls(place))


def test_pulls_of_another_rig_are_refused(place: Path) -> None:
    place.write_text(place.read_text().replace('name = "start-gate"', 'name = "red"'))
    with pytest.raises(InputError, match="its gates are not those of"):
        pulls_judged(read_rig(place), place, pulls(place))
