from __future__ import annotations

from typing import get_args

from logger.config import KindOfRun, Power
from logger.lesson.board import Board
from logger.lesson.cycle import State
from logger.lesson.entries import Closing, CountOf
from logger.lesson.plan import Begin, OrderKind
from logger.lesson.shown import BESIDE
from logger.study import words
from logger.web import lesson_words as say


def test_everything_has_a_name() -> None:
    assert set(say.STATES) == set(get_args(State))
    assert set(say.POWERS) == set(get_args(Power))
    assert set(say.ORDERS) == set(get_args(OrderKind)) - {"given"}, "that one comes from an experiment, not a form"
    assert set(say.BEGINS) == set(get_args(Begin))
    assert set(say.ENDS) - {""} == set(get_args(Closing))
    assert set(say.COUNTS) == set(get_args(CountOf))
    assert set(say.KINDS) == set(BESIDE) == set(get_args(KindOfRun))
    assert {name for names in BESIDE.values() for name in names} <= set(say.FIGURES)
    assert {words.main_result(kind) for kind in BESIDE} <= set(say.FIGURES)
    assert set(say.SIGNS) == set(say.STATUSES)


def test_what_is_in_the_way_is_told_first() -> None:
    board = Board(1, "a", state="called", beams={"A": "blocked", "B": "clear"}, water="moving")
    assert say.state_hint(board) == "Something is in the beam: A. Clear it."
    assert say.state_hint(Board(1, "a", state="called", water="moving")) == "The water still moves."
    assert say.state_hint(Board(1, "a", state="armed"), "on_go") == "Hold the boat. Wait for the word."


def test_notices_without_words_of_ours_stay_as_they_are() -> None:
    assert say.notice("early start") == "early start"
    assert say.notice("stuck: it has hardly moved for 8 s") == "stuck: it hardly moves"
    assert say.notice("fault: camera: unplugged") == "fault: camera: unplugged"


def test_a_mark_changes_with_the_state_the_moment_and_the_run() -> None:
    boards = [
        Board(1, "a", state="called", since_ns=5, run_id="r1"),
        Board(2, "a", state="deciding", since_ns=5, run_id="r1"),
        Board(3, "a", state="called", since_ns=6, run_id="r1"), Board(4, "a", state="called", since_ns=5, run_id="r2"),
    ]  # fmt: skip
    assert len({say.mark_of(board) for board in boards}) == 4
    assert say.mark_of(Board(9, "a", state="called", since_ns=5, run_id="r1", water="calm")) == say.mark_of(boards[0])
