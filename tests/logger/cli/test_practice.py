from __future__ import annotations

from pathlib import Path

import pytest

from logger.cli.practice import MISHAPS, station
from logger.drivers import drivers_of
from logger.drivers.simulated_live import Mishap
from logger.errors import InputError
from logger.lesson.folder import lessons
from logger.lesson.plan import team_mistakes
from logger.recording.boat_card import read_boat
from logger.recording.rig_toml import read_rig


def test_a_practice_station_is_a_whole_rig_with_a_class_and_simulated_throughout(tmp_path: Path) -> None:
    file = station(tmp_path / "here")
    rig = read_rig(file)
    assert rig.simulated
    assert all(choice.is_simulated and choice.is_live for choice in rig.witnesses.values())
    assert len(drivers_of(rig)) == 2
    (one,) = lessons(tmp_path / "here" / "lessons")
    assert one.standing is not None
    plan = one.standing.plan
    assert plan.simulated
    assert (len(plan.teams), len(one.standing.owed)) == (8, 24)
    assert not team_mistakes(plan.teams)
    cards = {read_boat(path).name for path in (tmp_path / "here" / "cards").glob("*.toml")}
    assert cards == {team.boat.name for team in plan.teams}


def test_it_goes_on_where_it_was_and_takes_no_other_folder(tmp_path: Path) -> None:
    file = station(tmp_path / "here")
    before = file.read_bytes()
    assert station(tmp_path / "here") == file
    assert file.read_bytes() == before
    assert len(lessons(tmp_path / "here" / "lessons")) == 1
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="something else"):
        station(tmp_path / "other")


def test_every_mishap_that_is_known_can_be_practised() -> None:
    assert set(MISHAPS.values()) == set(Mishap.__args__)  # type: ignore[attr-defined]
