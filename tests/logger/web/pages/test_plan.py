from __future__ import annotations

import re

from tests.logger.web.conftest import PIN, Desk


def test_a_lesson_from_a_template_as_it_stands(desk: Desk) -> None:
    hands = desk.begin("straight")
    standing = hands.desk.standing  # type: ignore[union-attr]
    assert standing is not None
    assert len(standing.teams) == 8
    assert len({team.nickname for team in standing.teams}) == 8
    assert (standing.plan.kind, standing.plan.repeats, standing.plan.keep_pictures_days) == ("straight", 3, 0)
    assert standing.plan.simulated, "the rig's pictures are painted ones"
    assert len(list((desk.folder / "lessons").iterdir())) == 1


def test_so_many_rows_as_are_asked_for_and_what_was_typed_stays(desk: Desk) -> None:
    form = {"kind": "drift", "rows": "10", "do": "rows", "nickname_1": "Foil Frog", "title": "Ours"}
    page = desk.post("/lesson/new", form, 200, drawn_at="/lesson/new?kind=drift").text
    assert len(re.findall(r'name="nickname_\d+"', page)) == 10
    assert 'value="Foil Frog"' in page
    assert 'name="title" value="Ours"' in page


def test_all_mistakes_are_told_at_once_and_what_was_typed_stays(desk: Desk) -> None:
    form = {"kind": "straight", "do": "begin", "nickname_1": "A", "nickname_2": "a", "mass_1": "heavy", "title": "",
            "repeats": "99", "order": "fixed", "begin": "hands_off", "touch_counts_as": "freed",
            "power": "fan"}  # fmt: skip
    page = desk.post("/lesson/new", form, 422, drawn_at="/lesson/new?kind=straight").text
    for part in ("heavy", "repeats: found 99", "title"):
        assert part in page, part
    assert 'value="heavy"' in page
    twice = form | {"mass_1": "", "title": "Ours", "repeats": "3"}
    page = desk.post("/lesson/new", twice, 422, drawn_at="/lesson/new?kind=straight").text
    assert "nickname a is there more than once" in page
    assert not (desk.folder / "lessons").exists()


def test_what_can_hardly_be_is_asked_about(desk: Desk) -> None:
    from tests.logger.web.conftest import fields

    form = {**fields(desk.get("/lesson/new?kind=straight")), "do": "begin", "mass_1": "48 kg"}
    page = desk.post("/lesson/new", form, 422, drawn_at="/lesson/new?kind=straight").text
    assert "Can that be?" in page
    desk.post("/lesson/new", {**form, "sure": "yes"}, drawn_at="/lesson/new?kind=straight")


def test_the_last_lesson_is_a_template(desk: Desk) -> None:
    desk.begin("straight", nickname_1="Foil Frog", mass_1="1.7 oz", title="Monday")
    page = desk.get("/lesson/new")
    assert "As last time" in page
    address = re.search(r'href="(/lesson/new\?like=[^"]+)"', page)
    assert address is not None
    again = desk.get(address[1])
    assert 'value="Foil Frog"' in again
    assert re.search(r'name="mass_1"[^>]* value="48.194"', again), "1.7 oz at 28.349 523 125 g (NIST SP 811, B.8)"


def test_a_lesson_is_left_and_opened_again_where_it_was(desk: Desk) -> None:
    desk.begin(title="Monday")
    desk.runs()
    desk.begin(title="Tuesday")
    page = desk.get("/lesson/new")
    name = re.search(r'name="lesson" value="([^"]*monday[^"]*)"', page)
    assert name is not None
    desk.post("/lesson/open", {"lesson": name[1]}, drawn_at="/lesson/new")
    assert desk.hands[-1].desk.board().done_count == 1  # type: ignore[union-attr]
    assert "no lesson" in desk.post("/lesson/open", {"lesson": "../x"}, 422, drawn_at="/lesson/new").text


def test_a_line_that_the_rig_lacks_is_told(desk: Desk) -> None:
    text = desk.rig_file.read_text()
    assert 'role = "mark"' not in text
    assert "The rig has no line for this yet:" in desk.get("/lesson/new?kind=drift")
    assert "The rig has no line for this yet:" not in desk.get("/lesson/new?kind=straight")


def test_viewers_plan_nothing_and_see_no_earlier_lessons(guarded: Desk) -> None:
    guarded.post("/pin", {"pin": PIN})
    guarded.begin(title="Monday")
    guarded.post("/leave", {}, drawn_at="/rig")
    page = guarded.get("/lesson/new?kind=straight")
    assert "<input" not in page.split("<footer>")[0]
    assert "Monday" not in page
