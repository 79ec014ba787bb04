from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from calibration.files import CameraCalibration
from calibration.lens import Lens
from calibration.plane_worth import u_places_mm
from calibration.waterplane import Pose, View
from logger.checkup.rig_facts import calibration_findings, places_mm, rig_findings
from logger.config import CameraSetup, DriverChoice, Gate, Line, Rig
from logger.drivers.interface import Finding
from tests.logger.station.bench import RIG

GATES = DriverChoice("gpio_gates", {"pins": {"A": 17, "B": 27}})
CAMERA = CameraSetup(DriverChoice("v4l2_camera"), "camera.toml", delay_s=0.004, u_delay_s=0.001)
BOTH = replace(RIG, gates_driver=GATES, camera=CAMERA, gate_distance_mm=1001.0)

LENS = Lens(1280, 720, 800.0, 800.0, 639.5, 359.5)
POSE = Pose.at(np.diag([1.0, -1.0, -1.0]), camera_mm=[700.0, 0.0, 1400.0])
RAISED = {"camera height": (LENS, POSE.moved([0, 0, 0], [0, 0, 3.0]))}
CALIBRATION = CameraCalibration("quay", View(LENS, POSE, RAISED), date="2026-11-20")
TODAY = date(2026, 11, 25)


def bad(rig: Rig) -> dict[str, str]:
    """What is not well: "part: found" -> health."""
    return {f"{one.part}: {one.found}": one.health for one in rig_findings(rig) if one.health != "well"}


def of_calibration(calibration: CameraCalibration = CALIBRATION, **given: object) -> list[Finding]:
    asked: dict[str, object] = {"today": TODAY} | given
    rig = asked.pop("rig", BOTH)
    return list(calibration_findings(calibration, rig, **asked))  # type: ignore[arg-type]


def test_a_whole_rig_has_no_doubts_and_says_what_it_can() -> None:
    told = {one.part: one.found for one in rig_findings(BOTH)}
    assert bad(BOTH) == {}
    assert told["lines"] == "start (start), mark (mark), finish (finish): straight and drift runs"
    assert told["camera delay"] == "stamps are 4.0 ms late, ± 2.0 ms (95 %)"
    assert told["gate distance"] == "measured 1001 mm, by the lines 1000 mm"


def test_without_gates_and_camera_there_is_nothing_to_measure_with() -> None:
    (told,) = bad(replace(RIG, gates=())).items()
    assert told == ("rig file: it names neither gates nor a camera: nothing to measure with", "wrong")


def test_what_nobody_reads_is_wrong() -> None:
    assert "rig file: it names gates, but nothing that reads them" in bad(replace(BOTH, gates_driver=None))
    bare = replace(BOTH, camera=replace(CAMERA, driver=None))
    assert bad(bare) == {"rig file: it names a camera, but nothing that takes its pictures": "wrong"}
    useless = bad(replace(BOTH, gates=()))
    assert list(useless.values()) == ["doubtful"]


def test_a_simulated_driver_must_not_pass_for_a_real_one() -> None:
    made_up = replace(BOTH, gates_driver=DriverChoice("simulated_gates", {"seed": 1}))
    assert bad(made_up) == {"rig file: simulated_gates: results would look as if they were real": "wrong"}
    assert bad(replace(made_up, simulated=True)) == {}


@pytest.mark.parametrize(
    ("kept", "health", "words"),
    [
        ("start finish", "well", "straight runs"),
        ("start mark", "well", "drift runs"),
        ("start", "wrong", "too few"),
        ("mark finish", "wrong", "too few"),
        ("", "wrong", "none"),
    ],
)
def test_lines_decide_which_runs_can_be_made(kept: str, health: str, words: str) -> None:
    rig = replace(BOTH, lines=tuple(line for line in RIG.lines if line.name in kept.split()), gates=())
    (told,) = [one for one in rig_findings(rig) if one.part == "lines"]
    assert (told.health, words in told.found) == (health, True)


def test_a_line_without_a_gate_needs_the_camera() -> None:
    blind = replace(BOTH, camera=None)
    assert bad(blind) == {"lines: mark: there is no gate at it and no camera that sees it": "wrong"}


def test_a_tape_that_disagrees_with_the_lines_is_doubtful() -> None:
    (told,) = bad(replace(BOTH, gate_distance_mm=1030.0)).items()
    assert told == ("gate distance: measured 1030 mm, by the lines 1000 mm: 2.9% apart", "doubtful")
    vague = tuple(replace(line, u_mm=20.0) for line in RIG.lines)
    assert bad(replace(BOTH, gate_distance_mm=1030.0, lines=vague)) == {}
    offset = (Gate("A", "start", offset_mm=-15.0), Gate("B", "finish", offset_mm=15.0))
    assert bad(replace(BOTH, gate_distance_mm=1030.0, gates=offset)) == {}


def test_a_delay_that_was_never_measured_is_doubtful() -> None:
    (told,) = [
        one for one in rig_findings(replace(BOTH, camera=CameraSetup(CAMERA.driver, "c"))) if one.health != "well"
    ]
    assert (told.part, told.health) == ("camera delay", "doubtful")
    assert "boatrun calibrate light" in told.cure


def test_the_calibrations_doubt_is_what_its_own_sources_make_of_it() -> None:
    """A camera 3 mm higher makes a place r from its foot point r·3/1400 larger: 700 mm and 150 mm off, 1.53 mm."""
    r_mm = np.hypot(700, 150)
    assert u_places_mm(CALIBRATION.view, places_mm(RIG.lines)).max() == pytest.approx(r_mm * 3 / 1400, rel=1e-6)
    told = of_calibration()
    assert {one.health for one in told} == {"well"}
    assert f"± {1.96 * r_mm * 3 / 1400:.1f} mm (95 %), worst on the start line" in told[-1].found


@pytest.mark.parametrize(("height_mm", "health"), [(4.0, "well"), (6.0, "doubtful"), (30.0, "wrong")])
def test_how_much_doubt_is_too_much(height_mm: float, health: str) -> None:
    doubt = {"camera height": (LENS, POSE.moved([0, 0, 0], [0, 0, height_mm]))}
    assert of_calibration(replace(CALIBRATION, view=View(LENS, POSE, doubt)))[-1].health == health


def test_a_calibration_that_states_no_doubt_is_doubtful() -> None:
    assert of_calibration(replace(CALIBRATION, view=View(LENS, POSE)))[-1].health == "doubtful"


@pytest.mark.parametrize(
    ("made", "health", "words"),
    [
        ("2026-11-24", "well", "1 day ago"),
        ("2026-08-27", "well", "90 days ago"),
        ("2026-08-26 15:00", "doubtful", "91 days ago"),
        ("2026-12-01", "doubtful", "still to come"),
        ("last spring", "doubtful", 'its date is "last spring"'),
        ("", "doubtful", "no date"),
    ],
)
def test_the_calibrations_age(made: str, health: str, words: str) -> None:
    told = of_calibration(replace(CALIBRATION, date=made))[0]
    assert (told.health, words in told.found) == (health, True)


def test_with_a_wrong_clock_nothing_is_said_of_the_age() -> None:
    assert of_calibration(today=None)[0].found == '"quay", made 2026-11-20'


def test_a_calibration_of_another_camera_is_wrong() -> None:
    other = replace(CALIBRATION, evidence={"device": "/dev/video2"})
    assert of_calibration(other, device="/dev/video0")[0].health == "wrong"
    assert of_calibration(other, device="/dev/video2")[0].health == "well"
    assert of_calibration(other)[0].health == "well"


def test_lines_that_the_camera_does_not_see_are_told() -> None:
    """At 1400 mm with 800 px the picture ends 630 mm from the foot point across, 1119 mm along."""
    long = replace(BOTH, lines=(RIG.lines[0], replace(RIG.lines[2], a_mm=(1000.0, -700.0), b_mm=(1000.0, 700.0))))
    (told,) = [one for one in of_calibration(rig=long) if "does not see" in one.found]
    assert (told.health, told.found) == ("doubtful", "the camera does not see all of the finish line")
    far = replace(BOTH, lines=(RIG.lines[0], Line("finish", "finish", (1900.0, -100.0), (1900.0, 100.0))))
    (told,) = [one for one in of_calibration(rig=far) if "does not see" in one.found]
    assert (told.health, told.found) == ("wrong", "the camera does not see the finish line's middle")


DEEP = replace(CALIBRATION, evidence={"water_depth_mm": 80.0, "u_water_depth_mm": 1.0})


def of_depth(calibration: CameraCalibration = DEEP, **given: object) -> list[Finding]:
    return [one for one in of_calibration(calibration, **given) if one.part == "water level"]


def test_water_that_is_10_mm_lower_than_calibrated_is_told_in_percent_and_mm() -> None:
    """By the ruler: 10 / (1400 + 10) = 0.71 %, 716 mm from the foot point 5.1 mm."""
    (told,) = of_depth(depth_mm=70.0)
    assert told.health == "wrong"
    assert "10.0 ± 3.6 mm lower than when it was calibrated (by the ruler, 95 %)" in told.found
    assert "lengths come out 0.71 % too short, places up to 5.1 mm off" in told.found
    assert told.cure.startswith("fill in 10 mm of water")
    assert of_depth(depth_mm=75.0)[0].health == "doubtful"  # the ruler itself is only good to 3 mm
    assert of_depth(depth_mm=81.0)[0].health == "well"


def test_a_rig_file_with_another_depth_than_the_calibration_is_told() -> None:
    tank = replace(BOTH.tank, water_depth_mm=80.0)
    assert of_depth(rig=replace(BOTH, tank=tank)) == []
    (told,) = of_depth(rig=replace(BOTH, tank=replace(tank, water_depth_mm=100.0)))
    assert "(by the rig file, 95 %)" in told.found


def test_a_depth_tells_nothing_where_the_calibration_has_none() -> None:
    assert of_depth(CALIBRATION) == []
    (told,) = of_depth(CALIBRATION, depth_mm=70.0)
    assert "does not say how deep the water was" in told.found
