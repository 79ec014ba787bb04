from __future__ import annotations

import re
from pathlib import Path

import pytest

from logger.config import Boat
from logger.recording.boat_card import write_boat
from logger.study.experiment import running_order
from logger.study.experiment_file import plans_in
from tests.logger.study.invented_class import write_class
from tests.logger.web.conftest import AT, PIN, Desk

ASKED = {
    "question": "Does a heavier boat drift farther?", "prediction": "Yes, it is harder to stop.", "kind": "drift",
    "result": "drift_mm", "changed": "mass_g", "levels": "50; 100; 150 g", "repeats": "2", "boats": "Coot, Teal",
    "held": "power",
}  # fmt: skip
NAME = "does-a-heavier-boat-drift-farther"


def planned(desk: Desk, **changes: str) -> None:
    desk.post("/experiments", ASKED | changes, drawn_at="/experiments")


def test_an_experiment_is_planned_and_its_order_shown(desk: Desk) -> None:
    planned(desk)
    (kept,) = plans_in(desk.folder)
    assert kept.plan is not None
    assert kept.name == NAME
    assert (kept.plan.changed.levels, kept.plan.boats, kept.plan.repeats) == ((50, 100, 150), ("Coot", "Teal"), 2)
    assert kept.plan.held_equal == ("power",)
    page = desk.get(f"/experiments/{NAME}")
    shown = re.findall(r"<td>(Coot|Teal)</td><td>mass (\d+)\u00a0g</td>", page)
    assert shown == [(turn.boat, turn.level) for turn in running_order(kept.plan)]
    assert NAME in desk.get("/experiments")


def test_all_mistakes_are_told_and_what_was_typed_stays(desk: Desk) -> None:
    page = desk.post(
        "/experiments", ASKED | {"question": "?", "levels": "heavy; 50"}, 422, drawn_at="/experiments"
    ).text
    assert "question: found" in page
    assert "heavy" in page
    assert 'value="heavy; 50"' in page
    wrong = desk.post("/experiments", ASKED | {"result": "time_s"}, 422, drawn_at="/experiments").text
    assert "which such a run does not have" in wrong
    assert plans_in(desk.folder) == ()


def test_the_order_is_led_as_a_lesson_turn_by_turn_and_every_card_says_what_was_set(desk: Desk) -> None:
    (desk.folder / "boats").mkdir(exist_ok=True)
    write_boat(desk.folder / "boats" / "coot.toml", Boat("Coot", length_mm=210.0, material="foil"), at=AT)
    planned(desk)
    (kept,) = plans_in(desk.folder)
    assert kept.plan is not None
    desk.post(f"/experiments/{NAME}/lesson", {}, drawn_at=f"/experiments/{NAME}")
    hands = desk.hands[-1]
    assert hands.desk is not None
    standing = hands.desk.standing
    assert standing is not None
    assert [team.boat.name for team in standing.teams] == ["Coot", "Teal"]
    order = running_order(kept.plan)
    assert len(standing.owed) == len(order) == 12
    for turn in order[:3]:
        page = desk.get("/lesson")
        assert turn.boat in page
        assert f'<strong class="sets">mass {turn.level}\u00a0g</strong>' in page
        assert f'<strong class="sets">mass {turn.level}\u00a0g</strong>' in desk.get("/board")
        assert (hands.expected.boat.name, hands.expected.boat.mass_g) == (turn.boat, float(turn.level))
        desk.runs("keep")
    lesson = hands.desk.folder
    assert lesson is not None
    assert [one.plan for one in plans_in(lesson.path)] == [kept.plan], "the lesson carries its experiment"
    assert standing.teams[0].boat.material in ("foil", ""), "the card of a boat that has one"


def test_an_order_that_no_lesson_can_set_is_refused_with_the_reason(desk: Desk) -> None:
    planned(desk, changed="material", levels="foil; clay")
    answer = desk.post(f"/experiments/{NAME}/lesson", {}, 422, drawn_at=f"/experiments/{NAME}")
    assert "cannot be set from run to run" in answer.text
    assert not desk.hands


def test_the_experiment_is_read_in_a_class_by_everybody(desk: Desk) -> None:
    folder = desk.folder / "lessons" / "Room 12"
    folder.mkdir(parents=True)
    write_class(folder)
    planned(desk, boats="", levels="30; 60; 90; 150")
    page = desk.get(f"/experiments/{NAME}")
    assert f'href="/study/Room%2012/experiment/{NAME}"' in page
    assert "With more mass the drift grew" in desk.get(f"/study/Room%2012/experiment/{NAME}")
    listed = desk.get("/study/Room%2012/experiments")
    assert f'href="/study/Room%2012/experiment/{NAME}"' in listed
    assert 'href="/study/Room%2012/experiment/heavier"' in listed


def test_without_the_pin_experiments_are_seen_and_not_planned(guarded: Desk) -> None:
    page = guarded.get("/experiments")
    assert "Only whoever has given the PIN plans experiments." in page
    assert "<select" not in page
    assert PIN not in page


@pytest.mark.parametrize("path", ["/experiments/none", "/experiments/..%2Frig", "/experiments/A"])
def test_what_is_not_there_is_not_found(desk: Desk, path: str) -> None:
    assert "there is no such page" in desk.get(path, status=404)


def test_a_plan_that_cannot_be_read_is_told(desk: Desk) -> None:
    place: Path = desk.folder / "experiments"
    place.mkdir()
    (place / "bad.toml").write_text('format = "boatrun-experiment/1"\n', encoding="utf-8")
    assert "bad.toml" in desk.get("/experiments")
