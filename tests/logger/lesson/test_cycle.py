from __future__ import annotations

from typing import get_args

from logger.lesson import cycle
from logger.lesson.cycle import TABLE, State
from tests.test_house import PROJECT


def test_every_state_can_be_reached_and_left() -> None:
    states = set(get_args(State)) - {"closed"}
    assert set(TABLE.values()) == states
    assert {state for state, _ in TABLE} == states


def test_from_every_state_the_lesson_can_be_brought_to_its_end() -> None:
    for begin in set(get_args(State)) - {"closed"}:
        reached, before = {begin}, set()
        while reached != before:
            before = set(reached)
            reached |= {to for (state, _), to in TABLE.items() if state in before}
        assert "over" in reached


def test_people_are_offered_just_what_the_table_knows() -> None:
    assert cycle.may("called") == ("arm", "pause", "end", "change")
    assert cycle.may("armed") == ("go", "stop")
    assert cycle.may("running") == ("stop",)
    assert cycle.may("closed") == ()


def test_every_signal_is_used() -> None:
    used = {signal for _, signal in TABLE}
    assert used == set(get_args(cycle.Press)) | set(get_args(cycle.Sign))


def test_the_drawing_in_the_documentation_is_the_table() -> None:
    assert cycle.diagram() in (PROJECT / "DEVELOPERS.md").read_text(encoding="utf-8")
