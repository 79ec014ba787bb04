from __future__ import annotations

from tests.logger.lesson.lessons import trial
from tests.logger.web.conftest import PIN, Desk


def test_every_run_is_there_void_ones_too_and_is_decided_anew(desk: Desk) -> None:
    hands = desk.begin()
    first = desk.runs("void", trial("r1", time_s=3.25, flags=("the water moved",)), reason="gust", again="last")
    desk.runs()
    page = desk.get("/sofar")
    assert "gust or draught" in page
    assert "the water moved" in page
    assert "3.250" in page
    desk.post("/sofar", {"run_id": first, "status": "valid"}, drawn_at="/sofar")
    assert hands.desk.standing.attempts[0].status == "valid"  # type: ignore[union-attr]


def test_what_is_no_decision_is_refused(desk: Desk) -> None:
    desk.begin()
    desk.runs()
    for form in ({"run_id": "r1", "status": "best"}, {"run_id": "", "status": "valid"},
                 {"run_id": "r9", "status": "valid"}, {"run_id": "r1", "status": "void"}):  # fmt: skip
        desk.post("/sofar", form, 422, drawn_at="/sofar")


def test_viewers_see_no_notes_and_no_forms(guarded: Desk) -> None:
    guarded.post("/pin", {"pin": PIN})
    guarded.begin()
    name = guarded.runs()
    guarded.press("note", run_id=name, words="took water")
    assert "took water" in guarded.get("/sofar")
    guarded.post("/leave", {}, drawn_at="/rig")
    page = guarded.get("/sofar")
    assert name in page
    assert "took water" not in page
    assert 'action="/sofar"' not in page
