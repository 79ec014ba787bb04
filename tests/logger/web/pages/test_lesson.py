from __future__ import annotations

import pytest

from tests.logger.lesson.lessons import trial
from tests.logger.web.conftest import HERE, PIN, Desk


def keys(page: str) -> set[str]:
    import re

    return set(re.findall(r'data-key="(\w+)"', page))


def test_only_what_may_be_pressed_now_is_there(desk: Desk) -> None:
    hands = desk.begin()
    assert keys(desk.get("/lesson")) == {"space"}
    desk.press("arm")
    assert keys(desk.get("/lesson")) == {"s"}
    hands.happens("armed")
    assert keys(desk.get("/lesson")) == {"g", "s"}
    hands.happens("started")
    assert keys(desk.get("/lesson")) == {"f", "s"}
    hands.happens("ended:finish")
    hands.keeps()
    assert keys(desk.get("/lesson")) >= {"k", "f", "d", "v", "r"}


def test_what_is_proposed_stands_out(desk: Desk) -> None:
    hands = desk.begin()
    desk.press("arm")
    hands.happens("armed", "started", "ended:time_cap")
    hands.keeps()
    hands.tells(trial("r1", status="did_not_finish"))
    page = desk.get("/lesson")
    assert page.count("proposed") == 1
    assert 'value="did_not_finish" data-key="d" class="key look-here proposed"' in page


def test_a_blocked_beam_refuses_and_says_which(desk: Desk) -> None:
    hands = desk.begin()
    hands.sees(A="blocked", B="clear")
    assert "blocked" in desk.get("/lesson")
    told = desk.press("arm", 422).text
    assert "the beam of A is blocked" in told


def test_a_second_tap_decides_nothing_and_tells_nothing(desk: Desk) -> None:
    hands = desk.begin()
    desk.press("arm")
    hands.finishes()
    page = desk.get("/lesson")
    seen = page.split('name="seen" value="')[1].split('"')[0]
    form = {"press": "keep", "seen": seen, "run_id": "r1"}
    desk.post("/lesson/press", form, drawn_at="/lesson")
    desk.post("/lesson/press", form, drawn_at="/lesson")
    late = desk.post("/lesson/press", {**form, "press": "void", "reason": "hand"}, 422, drawn_at="/lesson").text
    assert "had gone on meanwhile" in late
    standing = hands.desk.standing  # type: ignore[union-attr]
    assert [a.status for a in standing.attempts] == ["valid"]  # type: ignore[union-attr]


def test_a_run_that_was_another_teams_is_put_right_in_two_taps(desk: Desk) -> None:
    hands = desk.begin()
    name = desk.runs()
    page = desk.get("/lesson")
    assert "Wrong team?" in page  # the first tap opens it
    before = hands.desk.standing.attempts[0].team  # type: ignore[union-attr]
    other = 1 if before != 1 else 2
    desk.press("reassign", run_id=name, team=str(other))
    assert hands.desk.standing.attempts[0].team == other  # type: ignore[union-attr]
    desk.press("undo")
    assert hands.desk.standing.attempts[0].team == before  # type: ignore[union-attr]


def test_a_void_run_has_a_reason_and_comes_again_now_or_last(desk: Desk) -> None:
    hands = desk.begin()
    desk.press("arm")
    hands.finishes()
    assert "choose one" in desk.press("void", 422, run_id="r1").text
    who = hands.desk.board().who  # type: ignore[union-attr]
    desk.press("void", run_id="r1", reason="hand", again="now")
    assert hands.desk.board().who == who  # type: ignore[union-attr]
    assert "hand in the beam" in desk.get("/lesson")


def test_a_team_is_skipped_called_counted_and_noted(desk: Desk) -> None:
    hands = desk.begin("cargo")
    board = hands.desk.board  # type: ignore[union-attr]
    first = board().who.team  # type: ignore[union-attr]
    desk.press("skip", team=str(first))
    assert board().who.team != first  # type: ignore[union-attr]
    desk.press("call", team=str(first))
    assert board().who.team == first  # type: ignore[union-attr]
    name = desk.runs()
    desk.press("count", run_id=name, of="cargo", count="7")
    desk.press("note", run_id=name, words="took water")
    page = desk.get("/lesson")
    assert "7 pieces of cargo" in page
    assert "took water" in page
    assert "wanted a whole number" in desk.press("count", 422, run_id=name, of="cargo", count="many").text
    assert "took water" not in desk.get("/board.json"), "notes are for those who lead the lesson"


def test_a_count_typed_beside_the_decision_is_kept_with_it(desk: Desk) -> None:
    hands = desk.begin("cargo")
    assert 'name="count"' not in desk.get("/lesson")
    desk.press("arm")
    hands.finishes(trial("r1", results={}))
    assert 'id="count"' in desk.get("/lesson")
    assert "wanted a whole number" in desk.press("keep", 422, run_id="r1", of="cargo", count="many").text
    desk.press("keep", run_id="r1", of="cargo", count="7")
    attempt = hands.desk.standing.attempts[0]  # type: ignore[union-attr]
    assert (attempt.counts, attempt.status) == ({"cargo": 7}, "valid")
    for page in ("/lesson", "/board", "/sofar"):
        assert "pieces of cargo" in desk.get(page), page


@pytest.mark.parametrize("press", ["pause", "end"])
def test_it_is_paused_or_ended_and_goes_on(desk: Desk, press: str) -> None:
    hands = desk.begin()
    desk.press(press)
    assert hands.doing == "rest"
    desk.press("resume")
    assert hands.doing == "look out"


def test_scripts_get_the_part_that_changed(desk: Desk) -> None:
    desk.begin()
    page = desk.get("/lesson")
    seen = page.split('name="seen" value="')[1].split('"')[0]
    answer = desk.client.post(
        "/lesson/press", data={"token": desk.token("/lesson"), "press": "arm", "seen": seen},
        headers={"Origin": HERE, "Accept": "application/json"},
    )  # fmt: skip
    content = answer.json()
    assert content["wrong"] == []
    assert "The rig is being made ready." in content["part"]


def test_viewers_see_it_without_any_key(guarded: Desk) -> None:
    guarded.post("/pin", {"pin": PIN})
    guarded.begin()
    guarded.post("/leave", {}, drawn_at="/rig")
    page = guarded.get("/lesson")
    assert "Put the boat in" in page
    assert "/lesson/press" not in page
    assert "Only whoever has given the PIN leads the lesson." in page


def test_sentences_of_ours_are_spanish_and_those_of_measuring_are_marked(desk: Desk) -> None:
    hands = desk.begin()
    desk.press("arm")
    hands.finishes(trial("r1", flags=("the water moved",)))
    text = desk.client.get("/lesson", headers={"Accept-Language": "es"}).text
    assert "Recojan el barco." in text
    assert '<ul class="flags" lang="en"><li>the water moved</li>' in text


@pytest.mark.parametrize("kind", ["load", "balance"])
def test_weights_are_counted_with_one_key_and_a_number(desk: Desk, kind: str) -> None:
    hands = desk.begin(kind)
    hands.sees(A="blocked")
    page = desk.get("/lesson")
    assert "Count by hand" in page
    assert "beam A" not in page, "beams do not matter here"
    assert "One weight after the other" in desk.get("/board")
    desk.press("arm")
    hands.happens("ended:entered_by_hand")
    hands.keeps()
    hands.tells(trial("r1", kind=kind, results={}))
    desk.press("keep", run_id="r1", of="weights", count="12")
    attempt = hands.desk.standing.attempts[0]  # type: ignore[union-attr]
    assert (attempt.counts, attempt.closing, attempt.status) == ({"weights": 12}, "entered_by_hand", "valid")
    assert "weights carried" in desk.get("/board")
