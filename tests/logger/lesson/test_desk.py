from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from logger.config import Boat
from logger.errors import InputError
from logger.lesson.board import Board
from logger.lesson.folder import LessonFolder
from logger.lesson.plan import Team
from logger.recording.hand_counts import read_counts
from logger.results.by_hand import counted
from logger.results.store import Store
from tests.logger.lesson.lessons import AT, led, opened, plan, trial


def test_a_run_goes_from_call_to_decision_with_two_presses(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    first = desk.board().who
    assert first is not None
    desk.arm()
    assert desk.board().state == "ready"
    assert hands.job is not None
    assert hands.job.card.boat.team == f"{first.team} {first.nickname}"
    hands.finishes()
    board = desk.board()
    assert (board.state, board.last and board.last.figures[0].text) == ("deciding", "4.000\u00a0s")
    desk.decide("valid")
    board = desk.board()
    assert board.state == "called"
    assert board.who != first
    assert board.done_count == 1
    assert hands.doing == "look out"
    with Store(folder.store, read_only=True) as store:
        assert [(one.status, one.team) for one in store.runs()] == [("valid", f"{first.team} {first.nickname}")]


def test_a_blocked_beam_refuses_arming_and_says_which(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    hands.sees(start="blocked", finish="clear")
    with pytest.raises(InputError, match="the beam of start is blocked"):
        desk.arm()
    assert desk.board().state == "called"
    hands.sees(start="clear", finish="clear")
    desk.arm()


def test_a_beam_blocked_after_the_look_is_told_and_the_boat_is_called_still(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    before = desk.board().who
    desk.arm()
    hands.happens("arming_refused:the beam of start is blocked; clear it first")
    assert hands.is_called_off
    hands.happens("ended:recording_ended")
    hands.keeps()
    board = desk.board()
    assert board.state == "called"
    assert board.who == before
    assert board.troubles == ("not armed: the beam of start is blocked; clear it first",)


def test_devices_that_cannot_be_opened_leave_the_boat_called(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    desk.arm()
    hands.ear.failed("camera: no picture came; plug it in")
    board = desk.board()
    assert (board.state, board.troubles) == ("called", ("camera: no picture came; plug it in",))
    desk.arm()
    assert hands.job is not None
    assert hands.job.card.id == "r2", "the name of an attempt is never used twice"


def test_a_run_that_breaks_off_waits_for_a_decision_and_is_proposed_void(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    desk.arm()
    hands.happens("armed", "started")
    hands.ear.failed("the disk is full; free some space")
    board = desk.board()
    assert board.state == "deciding"
    assert board.last is not None
    assert board.last.proposal == "void"
    desk.decide("void", reason="disk", again="now")
    assert desk.board().state == "called"


def test_an_early_start_is_no_run_and_is_counted(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path, plan(begin="on_go"))
    desk.arm()
    hands.happens("armed", "early_start")
    hands.happens("ended:recording_ended")
    hands.keeps()
    assert desk.board().state == "called"
    assert desk.standing is not None
    assert desk.standing.next_turn is not None
    assert desk.standing.early_starts(desk.standing.next_turn) == 1


def test_the_word_and_stop_reach_the_run(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path, plan(begin="on_go"))
    with pytest.raises(InputError, match="not now"):
        desk.go()
    desk.arm()
    hands.happens("armed")
    desk.go()
    hands.happens("released", "started")
    desk.freed()
    desk.stop()
    assert hands.pressed == ["go", "freed", "stop"]


def test_stop_before_the_boat_sets_off_calls_the_run_off(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    desk.arm()
    hands.happens("armed")
    desk.stop()
    assert hands.is_called_off
    hands.happens("ended:recording_ended")
    hands.keeps()
    assert desk.board().state == "called"
    assert desk.board().last is None


def test_a_void_run_needs_a_reason_and_comes_again_now_or_last(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    first = desk.board().who
    assert first is not None
    desk.arm()
    hands.finishes()
    with pytest.raises(InputError, match="void for a reason"):
        desk.decide("void", reason=" ")
    desk.decide("void", reason="gust", again="now")
    assert desk.board().who == first
    desk.arm()
    hands.finishes()
    desk.decide("void", reason="gust", again="last")
    assert desk.board().who != first
    assert desk.standing is not None
    assert desk.standing.owed[-1].team == first.team
    assert desk.board().left_count == 6


def test_undo_takes_a_decision_back_here_and_in_the_store(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    desk.arm()
    hands.finishes()
    desk.decide("void", reason="hand", again="no")
    assert folder.stored()[0].status == "void"
    desk.undo()
    assert desk.board().state == "deciding"
    assert folder.stored()[0].status == "valid"
    desk.decide("freed")
    assert folder.stored()[0].status == "freed"


def test_a_run_of_the_wrong_team_is_put_right(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    called = desk.board().who
    assert called is not None
    desk.arm()
    hands.finishes()
    desk.decide("valid")
    other = next(n for n in (1, 2, 3) if n != called.team)
    desk.reassign("r1", other)
    assert desk.standing is not None
    owed = [turn.team for turn in desk.standing.owed]
    assert (owed.count(called.team), owed.count(other)) == (2, 1)
    assert folder.stored()[0].team.startswith(f"{other} ")
    with pytest.raises(InputError, match="there is no team 9"):
        desk.reassign("r1", 9)


def test_a_rebuilt_boat_is_another_version_and_counts_for_later_runs_only(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path, plan(1))
    desk.arm()
    hands.finishes()
    desk.decide("valid")
    desk.card(1, Boat(name="Boat 1", version=2, mass_g=55.0))
    desk.arm()
    assert hands.job is not None
    assert hands.job.card.boat.version == 2
    assert desk.standing is not None
    assert [attempt.boat_version for attempt in desk.standing.attempts] == [1, 2]


def test_teams_can_be_renamed_and_join_but_not_twice_the_same(tmp_path: Path) -> None:
    desk, _, _ = opened(tmp_path)
    desk.rename(2, "Grebe")
    with pytest.raises(InputError, match="nickname grebe is there more than once"):
        desk.join(Team(4, "GREBE", Boat(name="x")))
    desk.join(Team(4, "Coot", Boat(name="x")))
    assert desk.board().left_count == 8


def test_nothing_is_changed_while_a_boat_is_under_way(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    desk.arm()
    hands.happens("armed", "started")
    for refused in (lambda: desk.rename(1, "x"), lambda: desk.undo(), lambda: desk.move(1, last=True), desk.arm,
                    desk.pause, desk.end, lambda: desk.close(), lambda: desk.decide("valid")):  # fmt: skip
        with pytest.raises(InputError, match=r"under way|wait until it has ended"):
            refused()
    assert desk.board().state == "running"


def test_it_is_paused_by_the_bell_and_goes_on_in_another_hour(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    desk.arm()
    hands.finishes()
    desk.decide("valid")
    following = desk.board().who
    desk.pause("bell")
    assert hands.doing == "rest"
    desk.close()
    folder.close()
    desk, hands = led(LessonFolder(folder.path))
    assert desk.board().state == "paused"
    desk.resume()
    assert desk.board().who == following
    assert desk.board().done_count == 1


def test_after_a_power_cut_the_run_waits_for_a_decision_and_is_measured(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    desk.arm()
    hands.happens("armed", "started")
    (folder.path / "recordings" / "r1.unfinished").mkdir(parents=True)
    folder.close()  # the power goes
    desk, hands = led(LessonFolder(folder.path))
    board = desk.board()
    assert (board.state, hands.measured) == ("deciding", ["r1"])
    assert board.last is not None
    assert (board.last.end_reason, board.last.proposal) == ("cut_short", "void")
    assert hands.doing == "look out"


def test_a_power_cut_before_anything_was_recorded_leaves_nothing_to_decide(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    called = desk.board().who
    desk.arm()
    folder.close()  # the power goes while the devices are being opened
    again = LessonFolder(folder.path)
    desk, hands = led(again)
    assert (desk.board().state, desk.board().who, hands.measured) == ("called", called, [])
    assert [run.state for run in again.standing().attempts] == ["no_run"]


def test_what_was_kept_but_not_measured_is_measured_at_the_next_start(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    desk.arm()
    hands.happens("armed", "started", "ended:finish")
    hands.keeps()
    desk.decide("freed")
    folder.close()
    desk, hands = led(LessonFolder(folder.path))
    assert hands.measured == ["r1"]
    hands.tells(trial("r1"))
    assert folder.stored()[0].status == "freed", "the store follows the log as soon as it can"


def test_all_runs_done_and_one_made_void_later_is_owed_again(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path, plan(1, repeats=1))
    desk.arm()
    hands.finishes()
    desk.decide("valid")
    assert desk.board().state == "done"
    desk.decide("void", run_id="r1", reason="unfair", again="now")
    assert desk.board().state == "called"
    desk.end()
    assert desk.board().state == "over"
    desk.resume()
    assert desk.board().state == "called"


def test_listeners_hear_every_change_and_only_changes(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    heard: list[Board] = []
    end = desk.listen(heard.append)
    hands.sees(start="clear")
    hands.sees(start="clear")
    assert len(heard) == 2
    end()
    desk.arm()
    assert len(heard) == 2
    assert [board.version for board in heard] == sorted({board.version for board in heard})


def test_counts_by_hand_and_notes_go_to_the_last_run(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path, plan(kind="cargo"))
    with pytest.raises(InputError, match="no run yet"):
        desk.count("cargo", 3)
    desk.arm()
    hands.finishes()
    desk.count("cargo", 7)
    desk.count("cargo", 8)
    desk.note("took water")
    assert desk.standing is not None
    attempt = desk.standing.attempts[0]
    assert (attempt.counts, attempt.notes) == ({"cargo": 8}, ("took water",))


def test_a_button_of_the_rig_arms_and_decides_and_its_refusal_is_shown(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    hands.sees(start="blocked")
    hands.ear.pressed("arm")
    assert desk.board().troubles == ("not armed: the beam of start is blocked; clear it, then arm again",)
    hands.sees(start="clear")
    hands.ear.pressed("arm")
    hands.finishes()
    hands.ear.pressed("keep")
    assert desk.board().done_count == 1


def test_the_trial_that_comes_first_is_marked_as_first_figures(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    desk.arm()
    hands.happens("armed", "started", "ended:finish")
    hands.keeps()
    hands.ear.guessed("r1", trial("r1", time_s=4.1))
    last = desk.board().last
    assert last is not None
    assert (last.is_final, last.figures[0].value) == (False, 4.1)
    hands.tells(trial("r1", time_s=4.0))
    last = desk.board().last
    assert last is not None
    assert (last.is_final, last.figures[0].value) == (True, 4.0)
    hands.ear.guessed("r1", trial("r1", time_s=4.1))
    last = desk.board().last
    assert last is not None
    assert last.is_final, "first figures that come late change nothing"


def test_a_lesson_that_is_led_cannot_be_led_twice(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    with pytest.raises(OSError, match="another program writes it"):
        LessonFolder(folder.path)
    with pytest.raises(InputError, match="a lesson is open already"):
        desk.open(folder, hands)
    assert replace(desk.board(), version=0).lesson == folder.name
    assert AT[:10] in folder.name


def test_a_count_is_shown_at_once_reaches_the_recording_and_is_taken_back(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path, plan(kind="cargo"))
    desk.arm()
    hands.finishes(trial("r1", results={}))
    version = desk.board().version
    desk.count("cargo", 7)
    last = desk.board().last
    assert last is not None
    assert (last.figures[0].name, last.figures[0].text, last.is_final) == ("cargo_count", "7", False)
    assert read_counts(folder.recording("r1")) == {"cargo": 7}
    assert hands.measured == ["r1"]
    hands.tells(trial("r1", results={"cargo_count": counted(7)}))
    last = desk.board().last
    assert last is not None
    assert last.is_final
    desk.note("took water")
    assert desk.board().version > version + 1, "whoever watches is told of a note, too"
    desk.undo()
    desk.undo()
    assert desk.board().last.figures == ()  # type: ignore[union-attr]
    assert read_counts(folder.recording("r1")) == {}
    assert hands.measured == ["r1", "r1"]


def test_a_count_that_power_cut_off_from_its_trial_is_brought_there_later(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path, plan(kind="rings"))
    desk.arm()
    hands.finishes(trial("r1"))
    desk.count("rings", 4)
    desk.close()
    assert hands.measured == ["r1"], "begun, but nothing came of it"
    again, later = led(LessonFolder(folder.path))
    assert later.measured == ["r1"]
    assert again.board().last.figures[0].value == 4  # type: ignore[union-attr]
    later.tells(trial("r1", results={"rings_count": counted(4)}))
    again.close()
    assert led(LessonFolder(folder.path))[1].measured == []


def test_the_order_of_a_cargo_lesson_follows_the_counts(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path, plan(kind="cargo", teams_count=2, repeats=2, shows_ranking=True))
    for number in range(1, 5):
        desk.arm()
        assert hands.job is not None
        team = int(hands.job.card.boat.team.partition(" ")[0])
        hands.finishes(trial(f"r{number}", results={}))
        desk.count("cargo", (3 if team == 1 else 8) + number // 3)
        desk.decide("valid")
    order = desk.board().ranking
    assert [(one.who.team, one.figure.value) for one in order if one.figure] == [(2, 8.5), (1, 3.5)]
