from __future__ import annotations

import re

from tests.logger.lesson.lessons import trial
from tests.logger.web.conftest import PIN, Desk


def words(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_who_state_result_and_the_next_two_are_there_and_no_keys(desk: Desk) -> None:
    assert "No lesson yet" in desk.get("/board")
    hands = desk.begin()
    assert "Put the boat in" in desk.get("/board")
    desk.press("arm")
    hands.happens("armed")
    assert "Hands out" in desk.get("/board")
    hands.happens("started", t_ns=desk.clock.now_ns)
    desk.clock.now_ns += 2_400_000_000
    assert 'data-clock="2.4"' in desk.get("/board")
    hands.happens("ended:finish")
    hands.keeps()
    hands.tells(trial("r1", time_s=4.312, flags=("the water moved",)))
    page = desk.get("/board")
    assert "4.312 s ± 0.020 s" in words(page).replace("\u00a0", " ")
    assert "1 doubt about it" in page
    assert "<form" not in page
    assert "<button" not in page
    assert words(page).count("Next") == 1


def test_the_state_is_told_by_words_and_a_shape(desk: Desk) -> None:
    hands = desk.begin()
    shapes = {}
    for event in ("", "armed", "started", "passed_mark"):
        if event == "armed":
            desk.press("arm")
        if event:
            hands.happens(event)
        page = desk.get("/board")
        title = re.search(r"<strong>([^<]+)</strong>", page)
        shape = re.search(r'<svg class="sign".*?</svg>', page, re.DOTALL)
        assert title is not None
        assert shape is not None
        shapes[title[1]] = shape[0]
    assert len(set(shapes.values())) == len(shapes) == 4


def test_a_run_that_did_not_count_is_not_shown_as_a_result(desk: Desk) -> None:
    desk.begin()
    desk.runs("void", trial("r1", time_s=3.0), reason="hand")
    page = desk.get("/board")
    assert "✗ void" in page
    assert "3.0" not in page


def test_the_order_is_shown_only_when_it_is_wanted_and_ties_are_told(desk: Desk) -> None:
    desk.begin()
    desk.runs(made=trial("r1", time_s=3.0))
    desk.runs(made=trial("r2", time_s=9.0))
    assert "Order so far" not in desk.get("/board")
    desk.press("rank")
    page = desk.get("/board")
    assert "Order so far" in page
    assert "cannot be placed yet" in page
    assert "too close to call" not in page
    teams_count = page.count('<span class="team">', page.index("Order so far"))
    for number in range(3, teams_count + 3):
        desk.runs(made=trial(f"r{number}", time_s=3.0 + number % 5))
    page = desk.get("/board")
    assert "too close to call" in page, "two teams have repeats"


def test_changes_come_as_events_with_the_board_and_its_version(desk: Desk) -> None:
    import json

    desk.begin()
    site_board = json.loads(desk.get("/board.json"))
    assert site_board["state"] == "called"
    assert site_board["version"] >= 1


def test_without_scripts_the_page_comes_again_by_itself(desk: Desk) -> None:
    assert '<noscript><meta http-equiv="refresh" content="3"></noscript>' in desk.get("/board")


def test_viewers_see_it(guarded: Desk) -> None:
    guarded.post("/pin", {"pin": PIN})
    guarded.begin()
    guarded.post("/leave", {}, drawn_at="/rig")
    assert "Put the boat in" in guarded.get("/board")
