from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from logger.cli import main
from logger.results.columns import TRACK
from logger.results.store import Store
from logger.results.trial_json import from_json

Maker = Callable[..., Path]


def test_a_recording_is_measured_kept_and_told(filmed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["measure", str(filmed)]) == 0
    told = capsys.readouterr().out
    trial = from_json((filmed / "trial.json").read_text(encoding="utf-8"))
    assert "±" in told
    assert told.startswith(f"{trial.run_id}: straight run of ")
    assert ", simulated" in told.splitlines()[0]
    truth = json.loads((filmed / "truth.json").read_text(encoding="utf-8"))
    true_s = (truth["crossings"][1]["t_ns"] - truth["crossings"][0]["t_ns"]) / 1e9
    time = trial.results["time_s"].quantity
    assert abs(time.value - true_s) < 2 * time.U
    lines = (filmed / "track.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == ",".join(TRACK)
    assert len(lines) > 30


def test_json_is_one_line_per_recording_and_the_same_as_the_file(
    gates_only: Maker, capsys: pytest.CaptureFixture[str]
) -> None:
    folders = [gates_only("a", 1000), gates_only("b", 1002)]
    assert main(["measure", "--json", *map(str, folders)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 2
    for line, folder in zip(lines, folders, strict=True):
        assert json.loads(line) == json.loads((folder / "trial.json").read_text(encoding="utf-8"))
        assert json.loads(line)["format"] == "boatrun-trial/1"


def test_one_bad_recording_does_not_stop_the_others(gates_only: Maker, capsys: pytest.CaptureFixture[str]) -> None:
    good, bad = gates_only("good"), gates_only("bad", 1002)
    (bad / "rig.toml").write_text("format = 3", encoding="utf-8")
    assert main(["measure", "--json", str(bad), str(good / "missing"), str(good)]) == 2
    said = capsys.readouterr()
    assert len(said.out.splitlines()) == 1
    assert len(said.err.splitlines()) == 2
    assert all(line.startswith("boatrun measure: ") for line in said.err.splitlines())
    assert not (bad / "trial.json").exists()


def test_measuring_again_changes_nothing_and_another_result_is_kept(
    gates_only: Maker, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = gates_only()
    main(["measure", str(folder)])
    before = (folder / "trial.json").stat().st_mtime_ns
    main(["measure", str(folder)])
    assert (folder / "trial.json").stat().st_mtime_ns == before
    assert not (folder / "trial-1.json").exists()
    capsys.readouterr()
    (folder / "trial.json").write_text("somebody's own words", encoding="utf-8")
    assert main(["measure", str(folder)]) == 0
    assert (folder / "trial-1.json").read_text(encoding="utf-8") == "somebody's own words"
    assert "kept as trial-1.json" in capsys.readouterr().err


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_cannot_be_written_is_no_failure_of_the_measuring(
    gates_only: Maker, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = gates_only()
    folder.chmod(0o555)
    try:
        assert main(["measure", "--json", str(folder)]) == 0
    finally:
        folder.chmod(0o755)
    said = capsys.readouterr()
    assert "could not be written" in said.err
    assert json.loads(said.out)["run"]


def test_a_name_that_is_taken_by_a_folder_is_no_failure_of_the_measuring(
    gates_only: Maker, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = gates_only()
    (folder / "trial.json").mkdir()
    assert main(["measure", "--json", str(folder)]) == 0
    said = capsys.readouterr()
    assert "could not be written" in said.err
    assert json.loads(said.out)["run"]


def test_the_store_gets_the_trial_with_its_boat(gates_only: Maker, tmp_path: Path) -> None:
    folder = gates_only()
    assert main(["measure", "--store", str(tmp_path / "s.sqlite"), str(folder)]) == 0
    with Store(tmp_path / "s.sqlite", read_only=True) as store:
        (stored,) = store.runs()
    assert stored.trial == from_json((folder / "trial.json").read_text(encoding="utf-8"))
    assert stored.folder == folder.resolve()
    assert stored.boat


@pytest.mark.parametrize("named", ["taken.txt", "a folder", "no/where.sqlite"])
def test_a_store_that_cannot_be_used_is_told_before_anything_is_measured(
    gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str], named: str
) -> None:
    folder, path = gates_only(), tmp_path / named
    (tmp_path / "taken.txt").write_text("somebody's own words, long enough to be no database", encoding="utf-8")
    (tmp_path / "a folder").mkdir()
    assert main(["measure", "--store", str(path), str(folder)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith(f"boatrun: {path}: cannot be opened: ")
    assert said.err.count("\n") == 1
    assert not (folder / "trial.json").exists()
    assert (tmp_path / "taken.txt").read_text(encoding="utf-8").startswith("somebody's own words")


def test_a_terminal_that_knows_few_letters_still_gets_its_result(gates_only: Maker) -> None:
    command = [sys.executable, "-m", "logger", "measure", str(gates_only())]
    plain = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = subprocess.run(command, env=plain, capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert "\\xb1" in done.stdout


def test_a_folder_whose_name_is_no_text_is_refused(filmed: Path) -> None:
    odd = filmed.rename(filmed.parent / os.fsdecode(b"run-\xff"))
    done = subprocess.run(
        [sys.executable, "-m", "logger", "measure", odd], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 2
    assert done.stderr.endswith("its path is not UTF-8; rename the folder with plain letters\n")


def test_a_report_is_written_once_and_never_over_another_file(filmed: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    assert main(["measure", str(filmed), "--report", str(page)]) == 0
    text = page.read_text(encoding="utf-8")
    assert "The truth (simulated)" in text
    assert main(["measure", str(filmed), "--report", str(page)]) == 2
    assert page.read_text(encoding="utf-8") == text


def test_a_report_into_no_folder_is_refused_before_anything_is_measured(gates_only: Maker, tmp_path: Path) -> None:
    folder = gates_only()
    assert main(["measure", str(folder), "--report", str(tmp_path / "no" / "page.html")]) == 2
    assert not (folder / "trial.json").exists()


def test_nothing_of_progress_is_written_where_nobody_watches(
    gates_only: Maker, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["measure", "--json", str(gates_only("a")), str(gates_only("b", 1002))])
    assert capsys.readouterr().err == ""


def results(folder: Path) -> bytes:
    return (folder / "trial.json").read_bytes()


def test_a_folder_of_recordings_is_measured_by_all_processors_with_the_same_results(
    gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folders = [gates_only(f"season/run-{n}", 1000 + 2 * n) for n in range(4)]
    assert main(["measure", "--json", str(tmp_path / "season"), "--processes", "1"]) == 0
    alone, lines = [results(folder) for folder in folders], capsys.readouterr().out
    for folder in folders:
        (folder / "trial.json").unlink()
    assert main(["measure", "--json", str(tmp_path / "season"), "--processes", "2"]) == 0
    assert [results(folder) for folder in folders] == alone
    assert capsys.readouterr().out == lines


def test_a_season_that_was_stopped_goes_on_where_it_was(
    gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folders = [gates_only(f"season/run-{n}", 1000 + 2 * n) for n in range(3)]
    main(["measure", str(folders[1])])
    again = ["measure", "--only-new", "--processes", "1", "--json", str(tmp_path / "season")]
    capsys.readouterr()
    assert main(again) == 0
    assert len(capsys.readouterr().out.splitlines()) == 2
    assert main(again) == 0
    assert capsys.readouterr().out == ""
    later = (folders[0] / "trial.json").stat().st_mtime_ns + 10**9
    os.utime(folders[0] / "rig.toml", ns=(later, later))
    assert main(again) == 0
    assert len(capsys.readouterr().out.splitlines()) == 1, "its rig file has changed since"


def test_a_cluster_measures_the_same_bit_for_bit(gates_only: Maker, tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed", reason="comes with the extra 'cluster'")
    folders = [gates_only(f"season/run-{n}", 1000 + 2 * n) for n in range(3)]
    main(["measure", str(tmp_path / "season"), "--processes", "1"])
    alone = [results(folder) for folder in folders]
    for folder in folders:
        (folder / "trial.json").unlink()
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None, host="127.0.0.1", protocol="tcp"
    ) as cluster:
        assert main(["measure", str(tmp_path / "season"), "--cluster", cluster.scheduler_address]) == 0
    assert [results(folder) for folder in folders] == alone


def test_draws_stand_beside_the_budgets_when_asked_for(
    gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, page = str(gates_only()), tmp_path / "page.html"
    assert main(["measure", "--monte-carlo", "60", folder, "--report", str(page)]) == 0
    assert "by its budget; 60 draws have a standard deviation of" in capsys.readouterr().out
    assert "Checked: 60 draws have" in page.read_text(encoding="utf-8")
    assert main(["measure", "--json", "--monte-carlo", "60", folder]) == 0
    drawn = json.loads(capsys.readouterr().out)["monte_carlo"]["time_s"]
    assert drawn["draws"] == 60
    assert drawn["u"] > 0
    assert main(["measure", "--monte-carlo", "3", folder]) == 2
    assert "wanted at least 50" in capsys.readouterr().err


def renamed(folder: Path, run_id: str, lesson: str) -> Path:
    card = folder / "recording.toml"
    text = re.sub(r'^id = ".*"$', f'id = "{run_id}"', card.read_text(encoding="utf-8"), flags=re.M)
    text = re.sub(r'^lesson = ".*"\n', "", text, flags=re.M)
    card.write_text(text.replace("\nid =", f'\nlesson = "{lesson}"\nid =', 1), encoding="utf-8")
    return folder


def test_a_season_of_lessons_whose_runs_are_called_alike_stands_in_one_store(gates_only: Maker, tmp_path: Path) -> None:
    renamed(gates_only("one/recordings/r1"), "r1", "monday")
    renamed(gates_only("two/recordings/r1", 1002), "r1", "tuesday")
    season = tmp_path / "season.sqlite"
    for _ in range(2):
        assert main(["measure", str(tmp_path), "--store", str(season)]) == 0
    with Store(season, read_only=True) as store:
        assert [(run.trial.run_id, run.superseded_count) for run in store.runs()] == [
            ("monday/r1", 0),
            ("tuesday/r1", 0),
        ]
    assert main(["export", "--store", str(season), "--to", str(tmp_path / "tables")]) == 0
    rows = (tmp_path / "tables" / "runs.csv").read_text(encoding="utf-8")
    assert "monday/r1" in rows
    assert "tuesday/r1" in rows


def test_two_recordings_that_call_their_run_alike_are_told_and_none_hides_the_other(
    gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = renamed(gates_only("a"), "r1", ""), renamed(gates_only("b", 1002), "r1", "")
    season = tmp_path / "season.sqlite"
    assert main(["measure", str(first), str(second), "--store", str(season)]) == 2
    said = capsys.readouterr().err
    assert "run r1 stands in" in said
    assert str(first) in said
    assert (second / "trial.json").exists()
    with Store(season, read_only=True) as store:
        assert [run.folder for run in store.runs()] == [first.resolve()]
    first.rename(tmp_path / "carried")
    assert main(["measure", str(tmp_path / "carried"), "--store", str(season)]) == 0
    with Store(season, read_only=True) as store:
        assert [run.folder for run in store.runs()] == [(tmp_path / "carried").resolve()]


def test_what_was_measured_before_gets_into_a_new_store_too(gates_only: Maker, tmp_path: Path) -> None:
    folders = [gates_only("a"), gates_only("b", 1002)]
    assert main(["measure", str(folders[0])]) == 0
    season = tmp_path / "season.sqlite"
    assert main(["measure", "--only-new", *map(str, folders), "--store", str(season)]) == 0
    with Store(season, read_only=True) as store:
        assert {run.folder for run in store.runs()} == {folder.resolve() for folder in folders}


def test_a_damaged_card_among_measured_recordings_stops_no_other(
    gates_only: Maker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folders = [gates_only("a"), gates_only("b", 1002), gates_only("c", 1003)]
    assert main(["measure", *map(str, folders[:2])]) == 0
    (folders[0] / "recording.toml").write_text("id = ", encoding="utf-8")
    season = tmp_path / "season.sqlite"
    assert main(["measure", "--only-new", *map(str, folders), "--store", str(season)]) == 2
    assert str(folders[0]) in capsys.readouterr().err
    with Store(season, read_only=True) as store:
        assert {run.folder for run in store.runs()} == {folder.resolve() for folder in folders[1:]}
