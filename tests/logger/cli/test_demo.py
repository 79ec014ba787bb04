from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from logger.cli import demo, main
from logger.cli.regatta import BOATS, SAILS, Sail
from logger.recording.folder import load
from logger.results.store import Store
from logger.results.trial_json import from_json
from logger.study.leaf import Run

NOW = "2026-05-04T10:15:00+02:00"


@pytest.fixture(scope="module")
def sailed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Run]:
    """One run of the demo as one of its processes does it."""
    folder = tmp_path_factory.mktemp("demo")
    (folder / "recordings").mkdir()
    return folder, demo._sail((2, SAILS[1], folder, NOW))


def test_a_run_goes_through_the_whole_line(sailed: tuple[Path, Run]) -> None:
    folder, run = sailed
    recording = load(folder / "recordings" / run.card.id)
    assert recording.video is not None
    assert recording.edges
    assert [event.event for event in recording.events][:2] == ["arm", "armed"]
    with Store(folder / "trials.sqlite", read_only=True) as store:
        (stored,) = store.runs()
    assert stored.trial == run.trial == from_json((recording.folder / "trial.json").read_text(encoding="utf-8"))
    assert (recording.folder / "track.csv").is_file()


def test_everything_is_marked_as_simulated(sailed: tuple[Path, Run]) -> None:
    folder, run = sailed
    recording = load(folder / "recordings" / run.card.id)
    assert run.trial.simulated
    assert recording.card.simulated
    assert recording.rig.simulated
    assert json.loads((recording.folder / "trial.json").read_text(encoding="utf-8"))["simulated"] is True


def test_what_was_measured_is_true_within_its_doubt(sailed: tuple[Path, Run]) -> None:
    _, run = sailed
    time = run.trial.results["time_s"].quantity
    assert abs(time.value - run.truth["time_s"]) < 1.5 * time.U
    assert time.U < 0.05


def test_pages_tables_and_picture_are_written(sailed: tuple[Path, Run], capsys: pytest.CaptureFixture[str]) -> None:
    folder, run = sailed
    page = demo._write_pages([run], folder)
    text = page.read_text(encoding="utf-8")
    assert "Practice." in text
    assert run.card.boat.name in text
    assert (folder / "picture.svg").stat().st_size < 200_000
    assert (folder / "tables" / "runs.csv").is_file()


def test_each_demo_gets_a_new_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "boatrun-demo").mkdir()
    assert str(demo._free_name(Path("boatrun-demo"))) == "boatrun-demo-2"
    (tmp_path / "boatrun-demo-2").mkdir()
    assert str(demo._free_name(Path("boatrun-demo"))) == "boatrun-demo-3"


def test_a_used_folder_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    assert main(["demo", "--to", str(tmp_path)]) == 2
    assert "wanted a new or empty folder" in capsys.readouterr().err


def test_without_a_screen_opening_the_page_does_not_fail(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    if os.uname().sysname != "Linux":
        pytest.skip("only Linux tells by its environment whether there is a screen")
    demo._open(tmp_path / "page.html")
    assert "no browser" in capsys.readouterr().out


def test_every_boat_that_sails_has_a_hull() -> None:
    assert {sail.boat for sail in SAILS} == set(BOATS)
    assert all(isinstance(sail, Sail) for sail in SAILS)
