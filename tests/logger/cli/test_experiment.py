from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from logger.cli import main

Maker = Callable[..., Path]
PLAN = """format = "boatrun-experiment/1"
question = "Which boat is faster?"
kind = "straight"
result = "time_s"
repeats = 1
[changed]
name = "boat"
choices = ["{}", "{}"]
"""


def test_a_new_plan_is_written_and_its_order_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = tmp_path / "plan.toml"
    assert main(["experiment", "--new", str(plan)]) == 0
    assert main(["experiment", "--new", str(plan)]) == 2
    assert "there is such a file already" in capsys.readouterr().err
    assert main(["experiment", str(plan)]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[0] == "Does a heavier boat drift farther?"
    assert len(told) == 2 + 9
    assert main(["experiment", "--json", str(plan)]) == 0
    assert len(json.loads(capsys.readouterr().out)["order"]) == 9


def test_measured_runs_are_concluded_from(
    gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folders = [gates_only("a", 1000), gates_only("b", 1002), gates_only("c", 1004)]
    main(["measure", "--json", "--processes", "1", *map(str, folders)])
    boats = sorted({_boat(folder) for folder in folders})
    capsys.readouterr()
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN.format(boats[0], boats[1] if len(boats) > 1 else "Nobody"), encoding="utf-8")
    assert main(["experiment", str(plan), *map(str, folders)]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Which boat is faster?")
    assert boats[0] in told
    assert main(["experiment", "--json", str(plan), *map(str, folders)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert sum(len(cell["values"]) for cell in found["cells"]) >= 2
    assert found["conclusion"]


def _boat(folder: Path) -> str:
    text = (folder / "recording.toml").read_text(encoding="utf-8")
    return next(line.split('"')[1] for line in text.partition("[boat]")[2].splitlines() if line.startswith("name"))


def test_a_plan_with_mistakes_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN.format("A", "A"), encoding="utf-8")
    assert main(["experiment", str(plan)]) == 2
    assert "found 1 level, wanted at least two different ones" in capsys.readouterr().err
