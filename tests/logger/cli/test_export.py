from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from logger.cli import main
from logger.results.columns import TRACK
from logger.results.csvw import METADATA
from logger.results.store import Correction, Store

Maker = Callable[..., Path]


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_measured_recordings_become_tables(filmed: Path, gates_only: Maker, tmp_path: Path) -> None:
    folders = [str(filmed), str(gates_only())]
    main(["measure", *folders])
    to = tmp_path / "tables"
    assert main(["export", "--to", str(to), *folders]) == 0
    assert {path.name for path in to.iterdir()} == {
        "runs.csv",
        "boats.csv",
        "tracks.csv",
        "visits.csv",
        "edges.csv",
        METADATA,
    }
    trial = json.loads((filmed / "trial.json").read_text(encoding="utf-8"))
    row = rows(to / "runs.csv")[0]
    assert float(row["time_s"]) == pytest.approx(trial["results"]["time_s"]["value"], abs=1e-4)
    assert {row["run_id"] for row in rows(to / "tracks.csv")} == {trial["run"]}
    assert len(rows(to / "edges.csv")) > 4


def test_a_store_gives_its_runs_with_their_corrections_even_without_their_recordings(
    gates_only: Maker, tmp_path: Path
) -> None:
    store_path, kept, lost = tmp_path / "s.sqlite", gates_only("kept"), gates_only("lost", 1002)
    main(["measure", "--store", str(store_path), str(kept), str(lost)])
    with Store(store_path) as store:
        run = store.runs()[0].trial.run_id
        store.correct(Correction(run, "void", "a hand in the beam", "teacher", "2026-05-04T10:15:00+02:00"))
    shutil.rmtree(lost)
    assert main(["export", "--store", str(store_path), "--to", str(tmp_path / "t")]) == 0
    found = rows(tmp_path / "t" / "runs.csv")
    assert [(row["status"], row["status_reason"]) for row in found] == [("void", "a hand in the beam"), ("valid", "")]
    assert found[0]["water_depth_mm"] != ""
    assert found[1]["water_depth_mm"] == ""
    assert found[1]["time_s"] != ""


def test_what_was_not_measured_yet_is_refused_with_the_cure(
    gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export", str(gates_only()), "--to", str(tmp_path / "t")]) == 2
    assert "measure it first" in capsys.readouterr().err
    assert not (tmp_path / "t").exists()


@pytest.mark.parametrize("text", [b"x,y\n1,2\n", b"", bytes(range(256)), b"HEADER\n1,2\n"])
def test_a_track_that_is_none_is_refused_with_the_cure(
    gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str], text: bytes
) -> None:
    folder = gates_only()
    main(["measure", str(folder)])
    (folder / "track.csv").write_bytes(text.replace(b"HEADER", ",".join(TRACK).encode()))
    assert main(["export", str(folder), "--to", str(tmp_path / "t")]) == 2
    assert "track.csv: this is no whole track of a run; measure it again: boatrun measure " in capsys.readouterr().err
    assert not (tmp_path / "t").exists()


def test_a_store_that_is_not_there_is_wrong_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export", "--store", str(tmp_path / "no"), "--to", str(tmp_path / "t")]) == 2
    assert "there is no such store" in capsys.readouterr().err


def test_tables_never_go_over_other_files(gates_only: Maker, tmp_path: Path) -> None:
    folder = gates_only()
    main(["measure", str(folder)])
    assert main(["export", str(folder), "--to", str(folder)]) == 2
    assert not (folder / "runs.csv").exists()


@pytest.mark.parametrize(("form", "kept"), [("csv-comma", METADATA), ("xlsx", "runs.xlsx")])
def test_other_forms_for_other_spreadsheets(gates_only: Maker, tmp_path: Path, form: str, kept: str) -> None:
    folder = str(gates_only())
    main(["measure", folder])
    to = tmp_path / "tables"
    assert main(["export", folder, "--as", form, "--to", str(to)]) == 0
    assert (to / kept).stat().st_size > 1000
    assert (to / "runs.csv").exists() == (form == "csv-comma")
