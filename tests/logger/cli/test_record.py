"""`boatrun record`: from a rig file to a trial, with drivers that tell a story and with live ones."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from calibration.files import load_view
from logger.checkup.kept_views import keep
from logger.cli import main
from logger.config import DriverChoice, Rig
from logger.drivers import drivers_of
from logger.errors import InputError
from logger.recording.folder import load
from logger.recording.rig_toml import read_rig, rig_text
from logger.results.store import Store
from logger.simulator.live import SimulatedTank

SEED = 1010
FEW = {"frame_rate_hz": 12.0}
OPTIONS = {"seed": SEED, "run_kind": "straight", "pace": "fast", "wishes": FEW}


@pytest.fixture(scope="module")
def tank() -> SimulatedTank:
    return SimulatedTank(kind="straight", seed=SEED, **FEW)


def with_rig(folder: Path, tank: SimulatedTank, *, camera: bool = False) -> Path:
    """A rig file of the simulated tank, by its gates and its panel, and its camera if asked for."""
    rig = replace(
        tank.rig,
        simulated=False,  # it must be found out by its drivers
        gates_driver=DriverChoice("simulated_gates", OPTIONS),
        panel_driver=DriverChoice("simulated_panel", OPTIONS),
        camera=None,
    )
    if camera:
        assert tank.rig.camera is not None
        driver = DriverChoice("simulated_camera", OPTIONS)
        rig = replace(rig, camera=replace(tank.rig.camera, calibration="camera.toml", driver=driver))
        (folder / "camera.toml").write_text(tank.camera_text)
    (folder / "rig.toml").write_text(rig_text(rig))
    return folder / "rig.toml"


def test_runs_are_recorded_measured_kept_and_shown(
    tmp_path: Path, tank: SimulatedTank, capsys: pytest.CaptureFixture[str]
) -> None:
    rig, to, store = with_rig(tmp_path, tank), tmp_path / "rec", tmp_path / "s.sqlite"
    words = ["record", str(rig), "--boat", "Heron", "--to", str(to), "--store", str(store), "--times", "2"]
    assert main(words) == 0
    shown = capsys.readouterr().out
    assert "armed" in shown
    assert "ended (finish)" in shown
    assert "run-2: straight run of Heron, valid, simulated" in shown
    recordings = [load(to / name) for name in ("run-1", "run-2")]
    assert [recording.card.boat.name for recording in recordings] == ["Heron", "Heron"]
    assert all(recording.card.simulated for recording in recordings), "no real water, whatever the rig file says"
    assert (to / "run-1" / "trial.json").exists()
    with Store(store) as kept:
        assert [run.trial.run_id for run in kept.runs()] == ["run-1", "run-2"]
    first, last = (crossing["t_ns"] for crossing in tank.truth["crossings"])
    told_s = json.loads((to / "run-1" / "trial.json").read_text())["results"]["time_s"]["value"]
    assert told_s == pytest.approx((last - first) / 1e9, abs=0.1)


def test_a_recording_that_was_cut_short_is_told_of_and_kept(
    tmp_path: Path, tank: SimulatedTank, capsys: pytest.CaptureFixture[str]
) -> None:
    rig, left = with_rig(tmp_path, tank), tmp_path / "rec" / "run-1.unfinished"
    left.mkdir(parents=True)
    (left / "edges.csv").write_text("t_ns,gate,level\n")
    assert main(["record", str(rig), "--boat", "Heron", "--to", str(tmp_path / "rec")]) == 0
    assert f"{left} was cut short and is kept" in capsys.readouterr().err
    assert (left / "edges.csv").exists()
    assert (tmp_path / "rec" / "run-2" / "trial.json").exists(), "its name is not given again"


def test_a_rig_with_a_camera_follows_the_boat(tmp_path: Path, tank: SimulatedTank) -> None:
    rig = with_rig(tmp_path, tank, camera=True)
    calibration = tmp_path / "camera.toml"
    kept = keep(calibration, load_view(calibration), np.full((720, 1280), 90, np.uint8), day=date(2026, 5, 4))
    assert main(["record", str(rig), "--boat", "Heron", "--to", str(tmp_path / "rec")]) == 0
    assert (tmp_path / "rec" / "run-1" / "track.csv").exists()
    assert (tmp_path / "rec" / "run-1" / "view.png").read_bytes() == kept.read_bytes(), "to tell what has changed since"


def test_a_card_gives_boat_conditions_and_rules(tmp_path: Path, tank: SimulatedTank) -> None:
    rig, card = with_rig(tmp_path, tank), tmp_path / "card.toml"
    card.write_text(
        'format = "boatrun-recording/1"\nid = "heron"\n[boat]\nname = "Heron"\nlength_mm = 210\n'
        '[conditions]\npower = "fan"\n[rules]\ntime_cap_s = 45\n'
    )
    assert main(["record", str(rig), "--card", str(card), "--to", str(tmp_path / "rec")]) == 0
    found = load(tmp_path / "rec" / "heron-1").card
    assert (found.boat.length_mm, found.conditions.power, found.rules.time_cap_s) == (210.0, "fan", 45.0)


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["rig.toml"], "found no boat; say --boat NAME or --card FILE"),
        (["rig.toml", "--boat", "=cmd"], "boat.name: found"),
        (["nowhere.toml", "--boat", "Heron"], "nowhere.toml: there is no such file"),
        (["rig.toml", "--boat", "Heron", "--weigh"], "--weigh needs a [scale_driver]"),
        (["bare.toml", "--boat", "Heron"], "found neither a [gates_driver] nor a [camera.driver]"),
        (["eyeless.toml", "--boat", "Heron"], "the camera's calibration cannot be read"),
    ],
)
def test_what_is_wrong_is_told_in_one_line_and_nothing_is_made(
    words: list[str],
    complaint: str,
    tmp_path: Path,
    tank: SimulatedTank,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rig = read_rig(with_rig(tmp_path, tank))
    (tmp_path / "bare.toml").write_text(rig_text(replace(rig, gates_driver=None, panel_driver=None)))
    (tmp_path / "eyeless.toml").write_text(rig_text(replace(rig, camera=tank.rig.camera)))
    monkeypatch.chdir(tmp_path)
    assert main(["record", *words, "--to", "rec"]) == 2
    told = capsys.readouterr().err
    assert complaint in told
    assert len(told.splitlines()) == 1
    assert not (tmp_path / "rec").exists() or not any((tmp_path / "rec").iterdir())


def test_the_drivers_of_a_rig_have_the_names_that_its_recordings_know(tank: SimulatedTank, tmp_path: Path) -> None:
    rig = read_rig(with_rig(tmp_path, tank, camera=True))
    assert [driver.name for driver in drivers_of(rig)] == ["gates", "camera", "panel"]


def test_a_rig_without_drivers_cannot_be_heard(tank: SimulatedTank) -> None:
    bare: Rig = replace(tank.rig, gates_driver=None, camera=None)
    with pytest.raises(InputError, match="found neither"):
        drivers_of(bare)
