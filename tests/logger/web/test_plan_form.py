from __future__ import annotations

from typing import get_args

import pytest

from logger.config import Boat
from logger.errors import ConfigError
from logger.web import plan_form
from logger.web.lesson_words import KINDS

SWAN = {"swan.toml": Boat("Paper Swan", version=2, mass_g=48.0, length_mm=210.0)}


def made(**values: str):
    form = plan_form.template("straight", "Foil boats") | values
    return plan_form.plan_of(form, SWAN, simulated=False, seed=3)


@pytest.mark.parametrize("kind", KINDS)
def test_every_template_is_a_plan_as_it_stands(kind: str) -> None:
    plan = plan_form.plan_of(plan_form.template(kind, "Ours"), {}, simulated=False, seed=1)  # type: ignore[arg-type]
    assert plan.kind == kind
    assert [team.number for team in plan.teams] == list(range(1, 9))
    assert plan_form.odd(plan) == []


def test_a_plan_comes_back_from_its_own_form() -> None:
    plan = made(nickname_2="Foil Frog", boat_3="swan.toml", fan_distance_mm="50 cm", cargo_g="20", power="fan",
                blowers_count="2", shows_ranking="yes", order="fixed", wait_for_calm="", time_cap_s="45")  # fmt: skip
    again = plan_form.plan_of(plan_form.values_of(plan, plan.teams, SWAN), SWAN, simulated=False, seed=3)
    assert again == plan
    assert plan.conditions.fan_distance_mm == 500.0
    assert plan.rules.time_cap_s == 45.0
    assert not plan.agreed.wait_for_calm


def test_a_boat_is_as_on_its_card_but_for_what_is_typed() -> None:
    boat = made(boat_1="swan.toml", mass_1="50").teams[0].boat
    assert (boat.name, boat.version, boat.mass_g, boat.length_mm) == ("Paper Swan", 2, 50.0, 210.0)
    assert made().teams[0].boat.name == made().teams[0].nickname


def test_a_length_without_a_unit_is_in_what_was_chosen() -> None:
    """1 in = 25.4 mm exactly (NIST SP 811, B.8)."""
    assert made(units="inches", length_1="8 1/4").teams[0].boat.length_mm == 209.55
    assert made(units="inches", length_1="21 cm").teams[0].boat.length_mm == 210.0
    assert made(units="metric", length_1="210").teams[0].boat.length_mm == 210.0
    assert made(units="inches", fan_distance_mm="20").conditions.fan_distance_mm == 508.0


def test_an_empty_nickname_leaves_the_row_out() -> None:
    assert [team.number for team in made(nickname_1="", nickname_8=" ").teams] == [2, 3, 4, 5, 6, 7]


def test_everything_that_is_wrong_is_told_at_once() -> None:
    with pytest.raises(ConfigError, match="often") as told:
        made(repeats="often", time_cap_s="-1", length_2="1,5 in", number_3="x", cargo_g="heavy", kind="race")
    text = str(told.value)
    for part in ("often", "-1", "1,5 in", "'x'", "heavy", "race"):
        assert part in text, part


def test_new_rows_are_named_and_no_name_is_there_twice() -> None:
    rows = plan_form.with_rows({"nickname_1": "heron"}, 20)
    names = [rows[f"nickname_{row}"].casefold() for row in range(1, 21)]
    assert len(set(names)) == 20
    assert rows["rows"] == "20"
    assert plan_form.with_rows({}, 999)["rows"] == "40"
    assert plan_form.with_rows({}, 0)["rows"] == "1"


def test_every_kind_that_is_offered_has_its_template_and_its_lines() -> None:
    assert set(plan_form.OF_A_KIND) == set(KINDS) == set(plan_form.NEEDS)
    from logger.config import LineRole

    assert {role for roles in plan_form.NEEDS.values() for role in roles} <= set(get_args(LineRole))
