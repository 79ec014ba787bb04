from __future__ import annotations

from pathlib import Path

from logger.lesson.crew import Seen
from logger.lesson.ear import BUTTON
from logger.records import Fix
from tests.logger.lesson.lessons import opened, trial


def test_what_comes_late_or_from_another_run_changes_nothing(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    before = desk.board()
    hands.ear.kept(tmp_path / "r9")
    hands.ear.failed("something")
    hands.ear.guessed("r9", trial("r9"))
    hands.ear.measured("r9", trial("r9"), "")
    assert desk.board() == before


def test_a_trial_that_cannot_be_made_says_why(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    desk.arm()
    hands.happens("armed", "started", "ended:finish")
    hands.keeps()
    hands.ear.measured("r1", None, "the video cannot be read")
    last = desk.board().last
    assert last is not None
    assert last.flags == ("the video cannot be read",)
    assert last.is_final


def test_a_void_by_a_button_comes_again_at_once_and_says_how(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    called = desk.board().who
    desk.arm()
    hands.finishes()
    hands.ear.pressed("void")
    assert desk.board().who == called
    assert folder.stored()[0].corrections[0].reason == BUTTON


def test_the_boat_is_shown_where_it_is_while_it_is_under_way(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    desk.arm()
    hands.happens("armed", "started")
    hands.ear.located(Fix(10**9, 412.4, -33.2, 0.0, (1.0, 0.0, 1.0), "measured", "camera"))
    assert desk.board().boat_mm == (412, -33)
    hands.happens("ended:finish")
    hands.keeps()
    assert desk.board().boat_mm is None


def test_anothers_tag_in_the_water_is_told(tmp_path: Path) -> None:
    from logger.config import Boat, Tag
    from logger.lesson.plan import Team
    from tests.logger.lesson.lessons import plan

    teams = tuple(Team(n, f"T{n}", Boat(name=f"b{n}", tag=Tag("square", 10 + n))) for n in (1, 2))
    desk, hands, _ = opened(tmp_path, plan(teams=teams, order="fixed"))
    hands.ear.seen(Seen(beams={}, tag_number=11))
    assert desk.board().tag_team is None, "it is the called one's"
    hands.ear.seen(Seen(beams={}, tag_number=12))
    assert desk.board().tag_team == 2
