from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.results.store import Correction, Store
from logger.study.class_folder import is_class_folder, names_of, read_class
from tests.logger.study.invented_class import TEAMS, sails, write_class


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_class(tmp_path_factory.mktemp("class"))


def test_every_run_is_there_as_it_stands_now(folder: Path) -> None:
    whole = read_class(folder, name="Room 12")
    assert whole.name == "Room 12"
    assert len(whole.runs) == len(list(sails())) + 1
    assert whole.teams == tuple(f"Team {team}" for team in TEAMS)
    assert whole.kinds == ("straight", "drift")
    void = whole.run("s1-r002")
    assert void is not None
    assert (void.run.trial.status, void.reason, void.counts) == ("void", "hand", False)
    assert whole.runs[-1].run.trial.status == "did_not_finish"
    assert whole.date == "2026-05-04"
    assert whole.is_simulated


def test_a_rebuilt_boat_is_told_from_what_it_was(folder: Path) -> None:
    boats = dict.fromkeys(one.boat for one in read_class(folder).of(team="Team Heron"))
    assert list(boats) == ["Heron", "Heron 2"]


def test_runs_are_counted_by_team_and_kind(folder: Path) -> None:
    whole = read_class(folder)
    named = dict(zip((one.id for one in whole.runs), names_of(whole.runs), strict=True))
    assert named["s1-r001"] == "Team Heron, run 1"
    assert named["s1-r009"] == "Team Heron, run 2"
    assert len(set(named.values())) == len(named) - len(TEAMS)  # each team's drift run is the first of its kind


def test_a_class_that_was_carried_elsewhere_is_read_all_the_same(folder: Path, tmp_path: Path) -> None:
    shutil.copytree(folder, tmp_path / "stick")
    whole = read_class(tmp_path / "stick")
    assert all(one.run.series is not None for one in whole.runs)


def test_a_run_that_was_given_to_another_boat_is_that_boats(folder: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    with Store(copy / "trials.sqlite") as store:
        store.correct(
            Correction("s1-r001", "reassigned", "wrong team", "teacher", "now", boat="Newt", team="Team Newt")
        )
    moved = read_class(copy).run("s1-r001")
    assert moved is not None
    assert (moved.team, moved.run.card.boat.name) == ("Team Newt", "Newt")


def test_what_is_missing_is_told(folder: Path, tmp_path: Path) -> None:
    assert not is_class_folder(tmp_path)
    with pytest.raises(InputError, match=r"there is no trials\.sqlite in it"):
        read_class(tmp_path)
    Store(tmp_path / "trials.sqlite").close()
    with pytest.raises(InputError, match="holds no run yet"):
        read_class(tmp_path)
    gone = tmp_path / "gone"
    shutil.copytree(folder, gone)
    shutil.rmtree(gone / "recordings" / "s1-r001")
    for stray in (folder / "recordings" / "s1-r001",):
        stray.rename(stray.with_name("away"))
    try:
        with pytest.raises(InputError, match="recording s1-r001 of run s1-r001 is gone"):
            read_class(gone)
    finally:
        (folder / "recordings" / "away").rename(folder / "recordings" / "s1-r001")
