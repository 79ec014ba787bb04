from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.results.store import Correction, Store
from logger.study.class_folder import is_class_folder, names_of, read_class
from logger.study.class_story import counts, counts_told
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


@pytest.fixture
def damaged(tmp_path: Path) -> Path:
    """A class of its own, to be broken: its store knows its recordings by this place only."""
    return write_class(tmp_path)


def test_a_class_opens_without_recordings_that_are_gone_or_damaged_and_says_which_and_why(damaged: Path) -> None:
    places = damaged / "recordings"
    shutil.rmtree(places / "s1-r001")
    (places / "s1-r002" / "recording.toml").write_text("id = ", encoding="utf-8")
    (places / "s1-r004" / "rig.toml").unlink()
    (places / "s1-r005" / "rig.toml").write_bytes(b"\xff\xfe")
    whole = read_class(damaged)
    assert [one.id for one in whole.missing] == ["s1-r001", "s1-r002", "s1-r004", "s1-r005"]
    assert [one.trial.status for one in whole.missing] == ["valid", "void", "valid", "valid"]
    assert [one.team for one in whole.missing] == ["Team Heron", "Team Otter", "Team Newt", "Team Coot"]
    assert "the recording s1-r001 of run s1-r001 is gone; put it back" in whole.missing[0].why
    for one, file in zip(whole.missing[1:], ("recording.toml", "rig.toml", "rig.toml"), strict=True):
        assert f"recordings/{one.id}/{file}: " in one.why
        assert str(damaged) not in one.why, "whose computer it is, is nobody's business"
    assert len(whole.runs) == len(list(sails())) + 1 - 4
    assert [one.number for one in whole.runs] == list(range(1, len(whole.runs) + 1))
    (made,) = {sum(c.made for c in counts(whole, "straight"))}
    assert made == len([sail for sail in sails() if sail.kind == "straight"]) + 1
    assert {c.team: c.missing for c in counts(whole, "straight")}["Team Coot"] == 1
    assert "4 are missing: their recordings cannot be read." in counts_told(whole, "straight")


@pytest.mark.parametrize(
    ("content", "why"),
    [(b"t_ns,t_s\n", "its first line is not that of a track.csv"), (b"\xff\xfe\x00", "it cannot be read"),
     (None, "it is gone, though the camera has seen this run")],
)  # fmt: skip
def test_a_run_of_which_only_the_track_is_damaged_keeps_its_results(
    damaged: Path, content: bytes | None, why: str
) -> None:
    track = damaged / "recordings" / "s1-r045" / "track.csv"
    track.unlink() if content is None else track.write_bytes(content)
    one = read_class(damaged).run("s1-r045")
    assert one is not None
    assert one.run.series is None
    assert "drift_mm" in one.run.trial.results
    assert one.trouble.startswith("recordings/s1-r045/track.csv: ")
    assert why in one.trouble


def test_moments_that_run_backwards_are_no_track(damaged: Path) -> None:
    track = damaged / "recordings" / "s1-r045" / "track.csv"
    head, *rows = track.read_text(encoding="utf-8").splitlines()
    track.write_text("\n".join([head, *reversed(rows)]) + "\n", encoding="utf-8")
    one = read_class(damaged).run("s1-r045")
    assert one is not None
    assert "do not follow each other" in one.trouble


def test_a_class_of_which_nothing_can_be_read_says_why(damaged: Path) -> None:
    shutil.rmtree(damaged / "recordings")
    with pytest.raises(InputError, match=r"no recording of its 53 runs can be read: the recording s1-r001 of run"):
        read_class(damaged)
