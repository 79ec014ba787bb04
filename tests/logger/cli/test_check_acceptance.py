from __future__ import annotations

import argparse
import json
import os
import pty
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.checkup.machine import Machine
from logger.cli import check, check_acceptance, main
from tests.logger import accept_rig

ALL = "check,straws,ripples"


def status(rig: Path, *words: str) -> int:
    return main(["check", str(rig), "--acceptance", *words])


def kept(rig: Path) -> dict[str, Any]:
    found = sorted((rig.parent / "acceptance").iterdir())
    table: dict[str, Any] = json.loads((found[-1] / "acceptance.json").read_text())
    return table


def arguments(rig: Path, *words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    check.describe(parser)
    return parser.parse_args([str(rig), "--acceptance", *words])


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    """Gates only, told as fast as can be."""
    return accept_rig.accept_rig(tmp_path / "rig")


def test_nothing_done_is_shown_and_does_not_pass(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status(rig) == 2
    said = capsys.readouterr().out
    assert "1. to do  everything answers [check]" in said
    assert "NOT PASSED: 5 not done of 5 items" in said
    assert (rig.parent / "acceptance").is_dir()


def test_all_items_of_gates_pass_one_after_the_other_and_are_taken_up_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rig = accept_rig.accept_rig(tmp_path / "rig", pace="real_time", speed_ratio=400.0, length_s=1e5, walks_through=True)
    assert status(rig, "--do", ALL) == 2, "the plug is not done"
    assert "10 of 10 straws of 6 mm seen (at least 74 % are, 95 %)" in capsys.readouterr().out
    assert "pull the computer's own plug now" in accept_rig.pulled_plug(rig)
    assert kept(rig)["passed"] is False
    computer = Machine(root=accept_rig.started_anew(tmp_path / "root"))
    assert check_acceptance.run(arguments(rig, "--do", "plug"), computer=computer) == 0
    table = kept(rig)
    assert table["passed"] is True
    assert [one["item"] for one in table["tries"]] == table["items"]
    (folder,) = (rig.parent / "acceptance").iterdir()
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF")
    assert "PASSED: all 5 items" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "word", "said"),
    [
        ({"light_ratio": [18.0]}, "straws:start-gate", "not seen: pass "),
        ({"light_ratio": [5.0, 0.9]}, "straws:finish-gate", "0 of 10 straws"),
        ({"above_water_mm": 8.0, "ripples_mm": 12.0}, "ripples", "raise the beams"),
    ],
)
def test_a_beam_that_is_not_as_it_should_be_fails(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: dict[str, Any], word: str, said: str
) -> None:
    rig = accept_rig.accept_rig(tmp_path / "rig", **options)
    assert status(rig, "--do", word) == 2
    told = capsys.readouterr().out
    assert "  FAIL   " in told
    assert said in told
    assert "NOT PASSED: 1 failed, 4 not done of 5 items" in told


def test_three_pulls_of_a_simulated_boat_agree(pulled: Path, tmp_path: Path) -> None:
    place = Path(shutil.copytree(pulled, tmp_path / "pulled"))
    words = ("--do", "pulls", "--pulls", *(f"recordings/pull-{n}" for n in (1, 2, 3)))
    assert status(place / "rig.toml", *words) == 2
    (one,) = kept(place / "rig.toml")["tries"]
    assert one["verdict"] == "pass", one
    assert one["evidence"] == "recordings/pull-1, recordings/pull-2, recordings/pull-3"
    assert one["found"][0].startswith("gate start-gate: the camera has it ")
    assert any(said.startswith("from beam to beam ") for said in one["found"])


def test_a_changed_rig_file_begins_anew_and_the_same_one_goes_on(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status(rig, "--do", "straws:start-gate")
    status(rig, "--do", "straws:finish-gate")
    assert len(kept(rig)["tries"]) == 2
    rig.write_text(rig.read_text() + "\n# moved the posts\n")
    capsys.readouterr()
    status(rig)
    assert "have changed since the last acceptance: it begins anew" in capsys.readouterr().err
    assert kept(rig)["tries"] == []
    assert len(list((rig.parent / "acceptance").iterdir())) == 2


def test_a_failed_item_can_be_tried_again_and_both_tries_are_kept(rig: Path) -> None:
    text = rig.read_text()
    bad = text.replace('pace = "fast"', 'pace = "fast"\nlight_ratio = [18.0]')
    rig.write_text(bad)
    status(rig, "--do", "straws:start-gate,straws:start-gate")
    status(rig, "--do", "straws:start-gate")
    assert [one["verdict"] for one in kept(rig)["tries"]] == ["fail", "fail"]


def test_an_item_that_is_not_there_is_told(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status(rig, "--do", "strows") == 2
    assert "found 'strows'; wanted items of check, straws:start-gate" in capsys.readouterr().err


def test_people_are_led_from_item_to_item_and_may_stop_or_leave_one_for_later(
    rig: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers: Iterator[str] = iter(["l", "", "q"])
    asked: list[str] = []

    def ask(words: str) -> str:
        asked.append(words)
        return next(answers)

    assert check_acceptance.run(arguments(rig), ask=ask) == 2
    said = capsys.readouterr().out
    assert "everything answers is next. Nobody at the tank" in said
    assert "(left for later)" in said
    assert "stopped; the same command goes on from here" in said
    assert asked == ["Enter to begin, l to leave it for later, q to stop: "] * 3
    assert [one["item"] for one in kept(rig)["tries"]] == ["straws:start-gate"]


def test_a_failed_item_is_offered_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig = accept_rig.accept_rig(tmp_path / "rig", light_ratio=[0.9])
    answers = iter(["l", "", "", "q"])
    check_acceptance.run(arguments(rig), ask=lambda _: next(answers))
    assert [one["item"] for one in kept(rig)["tries"]] == ["straws:start-gate"] * 2
    assert capsys.readouterr().out.count("straws break the beam of gate start-gate is next") == 3


def test_words_are_asked_for_where_they_are_needed(pulled: Path, tmp_path: Path) -> None:
    place = Path(shutil.copytree(pulled, tmp_path / "pulled"))
    answers = iter(["l", "l", "l", "l", "l", '"', "1,1 2,2", "q"])
    asked: list[str] = []

    def ask(words: str) -> str:
        asked.append(words)
        return next(answers)

    check_acceptance.run(arguments(place / "rig.toml"), ask=ask)
    assert asked[5].startswith("type ENDS and LENGTH")
    assert asked[-1].startswith("type RECORDINGS"), "two words are too few, so it was left for later"


def test_at_a_terminal_it_asks_and_ends_with_the_report(rig: Path) -> None:
    ours, theirs = pty.openpty()
    os.write(ours, b"l\nq\n")
    ran = subprocess.run(
        [sys.executable, "-m", "logger", "check", str(rig), "--acceptance"], stdin=theirs, capture_output=True,
        text=True, timeout=300, check=False, env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    os.close(ours)
    os.close(theirs)
    assert ran.returncode == 2, ran.stderr
    assert "report to print and sign: " in ran.stdout
