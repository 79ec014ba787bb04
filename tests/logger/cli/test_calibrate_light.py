from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from logger.cli import main
from logger.recording.light_evidence import LightEvidence, LightNotes, read_light_evidence, write_light
from logger.recording.rig_toml import read_rig
from tests.calibration.light_session import Session, play

RIG = """format = "boatrun-rig/1"
name = "Tub"

[tank]
length_mm = 2000
width_mm = 150
water_depth_mm = 60

[[lines]]
name = "start"
role = "start"
x_mm = 0

[camera]  # above the middle
calibration = "camera.toml"
delay_s = 0.0  # not measured yet

[camera.driver]
kind = "simulated_blinking_camera"
tub = "of the command"
delay_s = 0.0617

[light_driver]
kind = "simulated_light"
tub = "of the command"
"""


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    (tmp_path / "rig.toml").write_text(RIG, encoding="utf-8")
    return tmp_path / "rig.toml"


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    folder = tmp_path / "light-1"
    folder.mkdir()
    switches, seen = play(Session())
    write_light(folder, LightEvidence(LightNotes("2026-05-04T10:15:30+02:00", row_px=seen.row_px), switches, seen))
    return folder


def test_a_session_is_kept_told_drawn_and_entered(
    rig: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The whole command on the host's own clock, which is why it takes a quarter of a minute."""
    drawn = tmp_path / "light.svg"
    words = ["calibrate", "light", str(rig), "--seconds", "11", "--region", "212,92,20", "--write"]
    assert main([*words, "--picture", str(drawn)]) == 0
    told = capsys.readouterr().out
    found = re.search(r"camera delay ([\d.]+) ± ([\d.]+) ms \(95 %", told)
    assert found is not None
    assert abs(float(found[1]) - 61.7) < max(float(found[2]), 0.5)
    setup = read_rig(rig).camera
    assert setup is not None
    assert setup.delay_s == pytest.approx(float(found[1]) / 1e3, abs=2e-4)
    assert 0 < setup.u_delay_s < 1e-3
    text = rig.read_text(encoding="utf-8")
    assert "[camera]  # above the middle" in text
    assert "# not measured yet" in text
    folder = next((tmp_path / "light").iterdir())
    assert f"evidence: {folder}" in told
    evidence = read_light_evidence(folder)
    assert evidence.notes.simulated
    assert (evidence.notes.camera, evidence.notes.light) == ("simulated_blinking_camera", "simulated_light")
    assert ElementTree.parse(drawn).getroot().tag.endswith("svg")
    assert main(["calibrate", "light", "--from", str(folder)]) == 0
    assert capsys.readouterr().out.splitlines()[0] == told.splitlines()[0]


def test_evidence_is_worked_out_again_and_nothing_is_written_unasked(
    kept: Path, rig: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = rig.read_text(encoding="utf-8")
    assert main(["calibrate", "light", str(rig), "--from", str(kept)]) == 0
    told = capsys.readouterr().out
    assert re.match(r"camera delay (79\.9|80\.0)\d* ± 0\.\d+ ms \(95 %, k = \d", told)
    assert "doubt (standard uncertainty in ms): " in told
    assert re.search(r"not entered; --write would set camera.delay_s = 0\.0(79|80)\d+, camera.u_delay_s = ", told)
    assert rig.read_text(encoding="utf-8") == before


def test_what_cannot_be_measured_is_one_line_and_status_2(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = (kept / "switches.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (kept / "switches.csv").write_text("".join(lines[:12]), encoding="utf-8")
    assert main(["calibrate", "light", "--from", str(kept)]) == 2
    said = capsys.readouterr().err
    assert "found 11 switches; at least 24 are wanted; 13 more: blink for longer" in said
    assert said.count("\n") == 1


@pytest.mark.parametrize(
    ("gone", "told"),
    [
        ('[light_driver]\nkind = "simulated_light"\ntub = "of the command"\n', r"there is no \[light_driver\]"),
        (
            '[camera.driver]\nkind = "simulated_blinking_camera"\ntub = "of the command"\ndelay_s = 0.0617\n',
            r"there is no \[camera.driver\]",
        ),
    ],
)
def test_a_rig_without_camera_or_light_is_told(
    rig: Path, gone: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    rig.write_text(RIG.replace(gone, ""), encoding="utf-8")
    assert main(["calibrate", "light", str(rig)]) == 2
    assert re.search(told + ".*add it to the rig file", capsys.readouterr().err)
    assert not (rig.parent / "light").exists()


def test_a_driver_that_is_no_light_is_told(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    light = 'kind = "simulated_light"\ntub = "of the command"\n'
    rig.write_text(RIG.replace(light, 'kind = "keyboard"\n'), encoding="utf-8")
    assert main(["calibrate", "light", str(rig)]) == 2
    assert 'light_driver: "keyboard" cannot be switched; wanted a light' in capsys.readouterr().err


def test_a_session_that_fails_leaves_no_empty_folder(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig.write_text(RIG.replace('tub = "of the command"\n', 'tub = "another"\n', 1), encoding="utf-8")
    assert main(["calibrate", "light", str(rig)]) == 2
    assert "there is no simulated tub 'of the command'" in capsys.readouterr().err
    assert list((rig.parent / "light").iterdir()) == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--write", "--from", "somewhere"], "--write needs the rig file to write into"),
        ([], "found neither a rig file nor --from"),
        (["--from", "nowhere"], "nowhere: there is no light.toml"),
    ],
)
def test_what_does_not_go_together_is_told(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calibrate", "light", *words]) == 2
    assert told in capsys.readouterr().err


def test_a_picture_never_goes_over_another_file(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calibrate", "light", "--from", str(kept), "--picture", str(kept / "light.toml")]) == 2
    assert "there is such a file already" in capsys.readouterr().err


def test_two_places_of_the_light_give_the_line_time(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folders = []
    for row in (80.0, 640.0):
        folder = tmp_path / f"light-{row:g}"
        folder.mkdir()
        switches, seen = play(Session(seed=round(row), row_px=row, line_s=30e-6, rate_hz=25))
        silent = replace(seen, line_ns=seen.line_ns * 0)
        write_light(folder, LightEvidence(LightNotes("2026-05-04T10:15:30+02:00", row_px=row), switches, silent))
        folders.append(str(folder))
    assert main(["calibrate", "light", "--from", *folders]) == 0
    told = capsys.readouterr().out
    found = re.match(r"line time ([\d.]+) ± ([\d.]+) µs from row to row", told)
    assert found is not None
    assert abs(float(found[1]) - 30) < 1.5 * float(found[2])
    entered = re.search(r"enter line_ns = (\d+) in \[camera\]", told)
    assert entered is not None
    assert int(entered[1]) == pytest.approx(30_000, abs=500)
    assert main(["calibrate", "light", "--from", folders[0], folders[0]]) == 2
    assert "0 rows apart" in capsys.readouterr().err
    assert main(["calibrate", "light", "--from", *folders, "--picture", str(tmp_path / "p.svg")]) == 2
    assert "take one session" in capsys.readouterr().err
