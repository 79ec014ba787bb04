from __future__ import annotations

import math
from dataclasses import replace

import pytest

from calibration.beams import BeamFit, Sighting, solve_beams
from calibration.quantity import Source
from logger.config import CameraSetup, Gate, Line, Rig, Tank
from logger.guide.gate_words import between, gates_of, table, told

TANK = Tank(((-400.0, -300.0), (2000.0, -300.0), (2000.0, 300.0), (-400.0, 300.0)), 100.0)
LINES = (
    Line("start", "start", (0.0, -300.0), (0.0, 300.0), u_mm=0.6),
    Line("finish", "finish", (1200.0, -300.0), (1200.0, 300.0), u_mm=0.6),
)
CAMERA = CameraSetup(None, "camera.toml", u_delay_s=0.001)
RIG = Rig("r", TANK, LINES, (Gate("A", "start"), Gate("B", "finish")), camera=CAMERA, gate_distance_mm=1203.0)


def fit(*places: float, speeds: tuple[float, ...] = (100.0, 300.0, 500.0), late: float = 0.0) -> BeamFit:
    delay = Source("camera delay")
    return solve_beams([
        Sighting(gate, f"pull {n}", place + late * v * 0.001, 0.5, {delay: 0.001 * v}, v)
        for gate, place in zip("AB", places, strict=False)
        for n, v in enumerate(speeds)
    ])  # fmt: skip


def test_the_rig_gets_the_place_with_the_doubt_of_the_line_that_it_counts_from() -> None:
    found = fit(2.0, 5.0)
    gates = gates_of(found, RIG)
    assert [g.offset_mm for g in gates] == pytest.approx([2.0, 5.0], abs=0.01)
    assert gates[0].u_offset_mm == pytest.approx(math.hypot(found.places["A"].u, 0.6), abs=0.01)


def test_from_beam_to_beam_is_lines_and_offsets_together() -> None:
    both = between(fit(2.0, 5.0), RIG)
    assert both is not None
    assert both.seen.value == pytest.approx(1203.0)
    assert both.taped is not None
    assert both.taped.value == 1203.0


def test_a_tape_that_agrees_and_one_that_does_not() -> None:
    assert ", they agree" in told(fit(2.0, 5.0), RIG, ())
    said = told(fit(2.0, 5.0), replace(RIG, gate_distance_mm=1240.0), ())
    assert "THEY DO NOT AGREE" in said
    assert "the plane's scale is wrong" in " ".join(said.split())


def test_a_gate_elsewhere_than_the_file_says_is_pointed_out() -> None:
    assert "gate B is not where the rig file has it" in told(fit(0.2, 45.0), RIG, ())


def test_a_camera_that_is_late_is_told_by_slow_and_fast_pulls() -> None:
    said = told(fit(2.0, 5.0, speeds=(60.0, 300.0, 900.0, -500.0), late=6.0), RIG, ())
    assert "the passages say that the camera's delay is off by" in said
    assert "do boatrun calibrate light again" in said


def test_a_delay_never_measured_is_said() -> None:
    said = told(fit(2.0, 5.0), replace(RIG, camera=replace(CAMERA, u_delay_s=0.0)), ())
    assert "it was never measured: do boatrun calibrate light" in said


def test_one_speed_only_is_said() -> None:
    assert "all pulls were of about one speed" in told(fit(2.0, 5.0, speeds=(300.0, 305.0, 310.0)), RIG, ())
    assert "all pulls were of about one speed" not in told(fit(2.0, 5.0), RIG, ())


def test_a_gate_without_passages_and_notes_are_told() -> None:
    said = told(fit(2.0), RIG, ("pull 1: gate B was not broken by anything like a boat",))
    assert "gate B: no usable passage, so nothing is known of it" in said
    assert "note: pull 1: gate B was not broken" in said
    assert between(fit(2.0), RIG) is None


def test_what_is_kept_says_all_of_it() -> None:
    kept = table(fit(2.0, 5.0), RIG, ("a note",), made_at="2026-05-04T10:15:00+02:00", recordings=["pull-1"])
    assert [g["name"] for g in kept["gates"]] == ["A", "B"]
    assert len(kept["passages"]) == 6
    assert kept["between_mm"] == pytest.approx(1203.0)
    assert kept["taped_mm"] == 1203.0
    assert kept["chi_square"] >= 0.0
