from __future__ import annotations

import json

import pytest

from logger.config import Boat, Tag
from logger.errors import ConfigError
from logger.lesson.plan import Team, plan_from_table, plan_table, team_mistakes
from tests.logger.lesson.lessons import plan


def test_a_plan_comes_back_from_its_table_as_it_was() -> None:
    made = plan(shows_ranking=True, begin="on_go", order="random")
    assert plan_from_table(json.loads(json.dumps(plan_table(made))), file="x") == made


def test_all_mistakes_are_told_at_once() -> None:
    table = plan_table(plan()) | {"repeats": 0, "kind": "swim", "order": 3}
    table["teams"][1]["nickname"] = "=cmd"
    with pytest.raises(ConfigError, match="the form") as caught:
        plan_from_table(table, file="the form")
    told = "; ".join(caught.value.mistakes)
    for place in ("repeats", "kind", "order", "teams[2].nickname"):
        assert place in told


def test_teams_need_numbers_nicknames_and_tags_of_their_own() -> None:
    one = Team(1, "Otter", Boat(name="a", tag=Tag("square", 3)))
    other = Team(1, "otter", Boat(name="b", tag=Tag("square", 3)))
    told = "; ".join(team_mistakes((one, other)))
    assert "number 1" in told
    assert "nickname otter" in told
    assert "tag number 3" in told
    assert team_mistakes(()) == ["teams: found 0; wanted 1 to 40"]
    assert not team_mistakes((one,))


def test_tests_that_people_count_alone_can_be_planned() -> None:
    assert plan_from_table(plan_table(plan(kind="load")), file="x").kind == "load"


def test_a_plan_of_another_version_is_refused() -> None:
    with pytest.raises(ConfigError, match="another version"):
        plan_from_table(plan_table(plan()) | {"format": "boatrun-lesson/9"}, file="x")


def test_a_team_is_called_by_number_and_nickname() -> None:
    assert [team.label for team in plan(2).teams] == ["1 Kestrel", "2 Otter"]
    assert plan(2).team(2) == plan(2).teams[1]
    assert plan(2).team(5) is None
