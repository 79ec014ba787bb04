from __future__ import annotations

import tomllib
from collections import Counter
from dataclasses import replace

import pytest

from logger.config import Boat
from logger.errors import ConfigError, InputError
from logger.lesson import entries as log
from logger.lesson.cards import as_given, card_of
from logger.lesson.experiment_order import boats_of, given_by, in_order_of
from logger.lesson.order import Turn, turns
from logger.lesson.plan import Given, LessonPlan, Team, plan_from_table, plan_table
from logger.lesson.standing import fold, numbered
from logger.recording.card_toml import card_from_table, card_text
from logger.study.experiment import Changed, Experiment, running_order
from tests.logger.lesson.lessons import AT, plan

HEAVY = Experiment(
    question="Does a heavier boat drift farther?", kind="drift", result="drift_mm",
    changed=Changed("mass_g", levels=(50.0, 100.0, 150.0)), boats=("Boat 2", "Boat 1"), repeats=2,
)  # fmt: skip


def lesson(**fields: object) -> LessonPlan:
    return in_order_of(HEAVY, plan(2, kind="drift", **fields))


def test_the_running_order_is_that_of_the_experiment_turn_by_turn() -> None:
    wanted = [(turn.boat, turn.level) for turn in running_order(HEAVY)]
    made = lesson()
    boats = {team.number: team.boat.name for team in made.teams}
    order = turns(made)
    found = [(boats[turn.team], made.given_for(turn.team, turn.round).to) for turn in order]  # type: ignore[union-attr]
    assert found == wanted
    assert Counter(turn.team for turn in order) == {1: 6, 2: 6}
    assert len(set(order)) == 12, "no turn stands for two"
    assert made.runs_count(1) == 6


def test_the_plan_comes_back_from_the_lessons_log_as_it_was() -> None:
    assert plan_from_table(plan_table(lesson()), file="log") == lesson()


def test_the_card_of_each_run_has_what_was_set_and_says_that_it_was_planned() -> None:
    made = lesson()
    standing = fold(numbered([log.Planned(made)], at=AT))
    for turn in standing.owed:
        card = card_of(standing, turn, run_id="r1", at=AT)
        given = made.given_for(turn.team, turn.round)
        assert given is not None
        assert card.boat.mass_g == float(given.to)
        assert "as planned, not weighed" in card.conditions.notes
        assert card_from_table(tomllib.loads(card_text(card)), file="card") == card


def test_a_turn_that_is_void_and_made_again_is_set_as_before() -> None:
    made = lesson()
    standing = fold(numbered([log.Planned(made)], at=AT))
    first = standing.owed[0]
    said = [log.Planned(made), log.Began("r1", first.team, first.round),
            log.Decided("r1", "void", reason="hand", again="last")]  # fmt: skip
    after = fold(numbered(said, at=AT))
    assert after.owed[-1] == first
    assert len(after.owed) == 12


def test_conditions_are_set_from_run_to_run() -> None:
    boat, conditions = Boat("Coot"), plan().conditions
    for sets, to, value in (("power", "fan", "fan"), ("blowers_count", "2", 2), ("fan_distance_mm", "400", 400.0)):
        _boat, found = as_given(boat, conditions, Given(1, sets, to))
        assert getattr(found, sets) == value
    assert as_given(boat, conditions, None) == (boat, conditions)
    assert as_given(boat, conditions, Given(1)) == (boat, conditions)


def test_where_the_boats_are_compared_each_is_a_team_and_nothing_is_set() -> None:
    boats = replace(HEAVY, changed=Changed("boat", choices=("Boat 1", "Boat 2")), boats=())
    assert boats_of(boats) == ("Boat 1", "Boat 2")
    assert {given.sets for given in given_by(boats, plan(2).teams)} == {""}
    assert boats_of(HEAVY) == ("Boat 2", "Boat 1")
    alone = replace(HEAVY, boats=())
    assert boats_of(alone) == ("Boat",)
    assert {given.team for given in given_by(alone, (Team(7, "Otter", Boat("Any")),))} == {7}


def test_what_no_run_can_be_set_to_is_refused_before_the_lesson_begins() -> None:
    wrong = replace(HEAVY, changed=Changed("power", choices=("fan", "rubber")))
    with pytest.raises(ConfigError, match="rubber"):
        in_order_of(wrong, plan(2, kind="drift"))
    with pytest.raises(InputError, match=r"material cannot be set from run to run .* one boat of each material"):
        in_order_of(replace(HEAVY, changed=Changed("material", choices=("foil", "clay"))), plan(2))
    with pytest.raises(InputError, match="found no team with the boat 'Boat 2'"):
        in_order_of(HEAVY, plan(1))


@pytest.mark.parametrize(
    ("fields", "said"),
    [({"order": "given"}, "found 0 turns for the order 'given'"),
     ({"given": (Given(1),)}, "found 1 turns for the order 'balanced'"),
     ({"order": "given", "given": (Given(9),)}, "found team 9, which there is not"),
     ({"order": "given", "given": (Given(1, "mass_g", "heavy"),)}, "found mass_g 'heavy'; wanted a number"),
     ({"order": "given", "given": (Given(1, "mass_g", "-5"),)}, "given"),
     ({"order": "given", "given": (Given(1, "mass_g", "nan"),)}, "mass_g")],
)  # fmt: skip
def test_mistakes_of_a_given_order_are_told(fields: dict[str, object], said: str) -> None:
    with pytest.raises(ConfigError, match=said):
        plan_from_table(plan_table(plan(2, **fields)), file="plan")


def test_a_team_without_a_given_turn_of_that_number_is_given_nothing() -> None:
    assert plan().given_for(1, 1) is None
    assert lesson().given_for(1, 99) is None
    assert turns(plan(2, order="fixed"))[0] == Turn(1, 1)
