"""Commands killed (SIGKILL) while they work: what they had said was finished is there, and everything else opens."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.recording.folder import load
from logger.recording.recovery import is_unfinished
from logger.results.store import Store
from logger.results.trial_json import from_json

Maker = Callable[..., Path]
OLD = "an earlier result"


def killed_after(command: list[str], lines_count: int) -> list[str]:
    """Kill the command when it has printed so many lines; every whole line that it printed.

    Returns only when everything that held its output has ended: a child that lived on would be noticed here.
    """
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    lines = [process.stdout.readline() for _ in range(lines_count)]
    process.kill()
    rest, _ = process.communicate(timeout=60)
    return [line for line in [*lines, *rest.splitlines(keepends=True)] if line.endswith("\n")]


@pytest.mark.parametrize("lines_count", [0, 1, 3])
def test_measuring_that_is_killed_loses_neither_new_nor_older_results(
    gates_only: Maker, tmp_path: Path, lines_count: int
) -> None:
    folders = [gates_only(f"run-{seed}", seed) for seed in range(1000, 1006)]
    for folder in folders:
        (folder / "trial.json").write_text(OLD, encoding="utf-8")
    raw = {path: path.read_bytes() for folder in folders for path in folder.iterdir() if path.name != "trial.json"}
    store = tmp_path / "s.sqlite"
    command = [sys.executable, "-m", "logger", "measure", "--json", "--store", str(store), *map(str, folders)]
    told = {json.loads(line)["run"] for line in killed_after(command, lines_count)}
    assert lines_count <= len(told) <= len(folders)
    with Store(store) as opened:
        assert told <= {stored.trial.run_id for stored in opened.runs()}
    for folder in folders:
        texts = [path.read_text(encoding="utf-8") for path in folder.glob("trial*.json")]
        assert OLD in texts
        assert all(from_json(text) for text in texts if text != OLD)
    assert {path: path.read_bytes() for path in raw} == raw


FEW_RUNS = """
from logger.cli import demo, main
if __name__ == "__main__":
    demo.SAILS = demo.SAILS[:4]
    main(["demo", "--to", "here"])
"""


def test_a_demo_that_is_killed_keeps_its_finished_runs_and_leaves_nobody_working(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "few.py").write_text(FEW_RUNS, encoding="utf-8")
    lines = killed_after([sys.executable, "few.py"], 2)  # the heading, and the first run
    assert lines[1].startswith("  run 1 of 4: ")
    with Store(tmp_path / "here" / "trials.sqlite") as store:
        kept = {stored.folder.name: stored.trial for stored in store.runs()}
    assert len(kept) >= len(lines) - 1
    for folder in (tmp_path / "here" / "recordings").iterdir():
        if not is_unfinished(folder):
            assert load(folder).video is not None
            continue
        assert folder.name.removesuffix(".unfinished") not in kept
        try:
            assert load(folder).doubts, "a recording that was cut short is never taken for a whole one"
        except InputError as error:
            assert "the recorder was stopped before the run began" in str(error)  # noqa: PT017
