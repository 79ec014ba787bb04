from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from logger.cli import main
from logger.recording.boat_card import read_boat
from logger.recording.rig_toml import read_rig

RIG = """format = "boatrun-rig/1"
name = "Bath"
[tank]
length_mm = 1600
width_mm = 500
origin_mm = [-200, -250]
water_depth_mm = 100
[[lines]]
name = "start"
role = "start"
x_mm = 0
"""


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    path = tmp_path / "rig.toml"
    path.write_text(RIG)
    return path


def test_it_shows_what_is_done_and_what_is_next(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calibrate", "all", str(rig), "--list"]) == 0
    said = capsys.readouterr().out
    assert "1. lens   -      the rig has no camera" in said
    assert "3. lines  to do  start (± 2.0 mm); a start line and a finish or mark line are wanted" in said
    assert "lines is next." in said
    assert f"boatrun calibrate lines {rig} OPTIONS --write" in said


def typed(rig: Path, *answers: str) -> subprocess.CompletedProcess[str]:
    """The command at a real pseudo-terminal."""
    ours, theirs = pty.openpty()
    os.write(ours, "".join(f"{answer}\n" for answer in answers).encode())
    ran = subprocess.run(
        [sys.executable, "-m", "logger", "calibrate", "all", str(rig)], stdin=theirs, capture_output=True, text=True,
        timeout=300, check=False, env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    os.close(ours)
    os.close(theirs)
    return ran


def test_it_leads_on_survives_a_wrong_word_and_can_be_left_and_taken_up_again(rig: Path) -> None:
    first = typed(rig, "--place 'finish finish x=9000'", "--place 'finish finish x=1200'", "q")
    assert first.returncode == 0, first.stderr
    assert "is not in the water" in first.stderr
    assert "that was not done; mend it and try again" in first.stdout
    assert "stopped; the same command goes on from here" in first.stdout
    assert read_rig(rig).line("finish") is not None
    second = typed(rig, '"Paper Swan" --length 210 --width 80 --freeboard 20 --mass 48')
    assert second.returncode == 0, second.stderr
    assert "cards is next." in second.stdout
    assert "all is done" in second.stdout
    assert read_boat(rig.parent / "cards" / "paper-swan.toml").name == "Paper Swan"
    assert "look at" in second.stdout  # the plan of the lines


def test_a_step_can_be_left_for_later(rig: Path) -> None:
    ran = typed(rig, "l", "l")
    assert "left for later: cards, lines" in ran.stdout
    assert ran.returncode == 0
