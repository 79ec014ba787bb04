from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest

from calibration.quantity import Quantity
from logger.lesson import shown
from logger.lesson.cycle import State, may
from logger.lesson.entries import Began, Closed, Decided, Planned
from logger.lesson.shown import RunShown
from logger.lesson.standing import Standing, fold, numbered
from logger.recording.folder import Event
from logger.records import Fix
from logger.results.trial import NotMeasured, Result
from tests.logger.lesson.lessons import AT, plan, trial


def fix(t_s: float, x_mm: float) -> Fix:
    return Fix(round(t_s * 1e9), x_mm, 0.0, 0.0, (1.0, 0.0, 1.0), "measured", "camera")


def standing(*said: object, **fields: object) -> Standing:
    return fold(numbered((Planned(plan(**fields)), *said), at=AT))  # type: ignore[arg-type]


def stuck(places: list[tuple[float, float]], state: State = "running") -> bool:
    run = RunShown("r1")
    for t_s, x_mm in places:
        run = run.located(fix(t_s, x_mm), state=state, stuck_after_s=8.0, stop_speed_mm_per_s=10.0)
    return any("stuck" in notice for notice in run.notices)


def test_a_boat_that_hardly_moves_for_long_is_stuck_and_a_slow_one_is_not() -> None:
    assert stuck([(t / 2, 300.0 + t / 10) for t in range(18)])
    assert not stuck([(t / 2, 300.0 + 15 * t) for t in range(40)])
    assert not stuck([(t / 2, 300.0) for t in range(15)]), "not long enough yet"
    assert not stuck([(t / 2, 300.0) for t in range(40)], state="drifting"), "a boat that drifts is meant to stop"


def test_a_boat_that_waited_long_for_the_word_is_not_stuck_as_the_word_is_given() -> None:
    run = RunShown("r1")
    for t_s in range(30):
        run = run.located(fix(t_s, 300.0), state="armed", stuck_after_s=8.0, stop_speed_mm_per_s=10.0)
    for t_s in range(30, 38):
        run = run.located(fix(t_s, 300.0), state="running", stuck_after_s=8.0, stop_speed_mm_per_s=10.0)
    assert not run.notices
    assert run.located(fix(38, 300.0), state="running", stuck_after_s=8.0, stop_speed_mm_per_s=10.0).notices


def test_notices_are_told_once_and_the_oldest_go_first() -> None:
    run = RunShown("r1")
    for number in range(20):
        run = run.after(Event(number, "fault", "camera", f"trouble {number // 2}"))
    assert len(run.notices) == shown.MOST_NOTICES
    assert run.notices[-1] == "fault: trouble 9"


def test_the_clock_runs_from_the_moment_at_which_the_boat_started() -> None:
    run = RunShown("r1").after(Event(5_000, "started", "referee", "beam A"))
    assert run.after(Event(7_000, "passed_mark", "referee", "")).running_ns == 5_000


@pytest.mark.parametrize("state", get_args(State))
def test_every_refusal_says_why(state: State) -> None:
    assert len(shown.not_now(state, "arm")) > 20
    assert "arm it first" in shown.not_now("called", "stop")


def test_the_next_two_are_others_than_the_one_whose_turn_it_is() -> None:
    here = standing(order="fixed")
    board = shown.board(1, "x", here, "called", run=RunShown(), seen=shown.Seen({}), troubles=(), trials={})
    assert board.who is not None
    assert [board.who.team, *(who.team for who in board.then)] == [1, 2, 3]
    running = fold(numbered((Planned(here.plan), Began("r1", 1, 1)), at=AT))
    board = shown.board(1, "x", running, "running", run=RunShown("r1"), seen=shown.Seen({}), troubles=(), trials={})
    assert board.who is not None
    assert [board.who.team, *(who.team for who in board.then)] == [1, 2, 3]
    assert board.may == may("running")


@pytest.mark.parametrize(
    ("closing", "status", "proposal"),
    [
        ("finish", "valid", "valid"),
        ("finish", "freed", "freed"),
        ("time_cap", "did_not_finish", "did_not_finish"),
        ("time_cap", "valid", "did_not_finish"),
        ("stopped_by_hand", "valid", "valid"),
        ("cut_short", "valid", "void"),
        ("broken_off", "valid", "void"),
    ],
)
def test_what_a_run_is_proposed_to_be(closing: str, status: str, proposal: str) -> None:
    here = standing(Began("r1", 1, 1), Closed("r1", closing))  # type: ignore[arg-type]
    made = trial("r1", status=status)  # type: ignore[arg-type]
    came = shown.came(here, here.attempts[0], made, is_final=True)
    assert came.proposal == proposal
    assert came.status == "undecided"


def test_figures_are_rounded_by_their_doubt_and_what_is_missing_says_why() -> None:
    here = standing(Began("r1", 1, 1), Closed("r1", "finish"), Decided("r1", "valid"))
    came = shown.came(here, here.attempts[0], trial("r1", time_s=4.1234), is_final=True)
    figure = came.figures[0]
    assert (figure.text, figure.doubt) == ("4.123\u00a0s", "±\u00a00.020\u00a0s")
    assert came.status == "valid"
    empty = replace(trial("r1"), results={}, not_measured={"time_s": NotMeasured("The gate saw no boat.")})
    assert shown.came(here, here.attempts[0], empty, is_final=True).not_measured == ("The gate saw no boat.",)
    assert shown.came(here, here.attempts[0], None, is_final=False).figures == ()


def test_a_time_that_says_nothing_is_proposed_to_be_void() -> None:
    """A hand in the first beam: the gate's moment and the camera's lie seconds apart."""
    here = standing(Began("r1", 1, 1), Closed("r1", "finish"))
    for u, witness, proposal in ((1.5, "gate", "void"), (0.05, "gate", "valid"), (1.5, "live", "valid")):
        took = Result(Quantity.of(5.7, "s", u=u, source="gate and camera disagree"), witness)
        made = trial("r1", results={"time_s": took})
        assert shown.came(here, here.attempts[0], made, is_final=True).proposal == proposal


def test_a_boat_that_was_stopped_without_a_time_did_not_finish() -> None:
    here = standing(Began("r1", 1, 1), Closed("r1", "stopped_by_hand"))
    for made in (None, trial("r1", results={})):
        assert shown.came(here, here.attempts[0], made, is_final=True).proposal == "did_not_finish"
    drift = standing(Began("r1", 1, 1), Closed("r1", "stopped_by_hand"), kind="drift")
    assert shown.came(drift, drift.attempts[0], None, is_final=True).proposal == "valid", "it drifted so far at least"
