from __future__ import annotations

from logger.web.site import shown_number, split, templates
from tests.logger.web.conftest import Desk


def test_mistakes_told_in_one_line_are_shown_one_by_one() -> None:
    assert split("rig.toml: a: found 1\n | b: found 2") == ["rig.toml: a: found 1", "b: found 2"]
    assert split("") == []


def test_numbers_for_fields_have_no_needless_zeros() -> None:
    assert (shown_number(90.0), shown_number(0.25, 2), shown_number(3.14159, 2)) == ("90", "0.25", "3.14")


def test_what_a_person_typed_is_never_taken_for_markup(desk: Desk) -> None:
    desk.rig_file.write_text(desk.rig_file.read_text().replace('"Basin"', '"<b>Basin</b>"'))
    text = desk.get("/rig")
    assert "&lt;b&gt;Basin&lt;/b&gt;" in text
    assert "<b>Basin" not in text


def test_every_sentence_of_a_template_goes_through_the_catalogue() -> None:
    made = templates()
    made.install_gettext_callables(lambda text: text.upper(), lambda one, many, n: one, newstyle=False)  # type: ignore[attr-defined]
    assert made.from_string("{{ _('Go in') }}").render() == "GO IN"


def test_what_is_simulated_says_so_on_every_page(desk: Desk) -> None:
    for path in (
        "/",
        "/rig",
        "/board",
        "/lesson",
        "/teams",
        "/sofar",
        "/stored",
        "/targets",
        "/lens",
        "/plane",
        "/lines",
        "/cards",
        "/check",
        "/nothing",
    ):
        assert "Simulated" in desk.client.get(path).text, path
    desk.rig_file.write_text(desk.rig_file.read_text().replace("simulated = true", "simulated = false"))
    assert "Simulated" not in desk.get("/rig")


def test_nothing_else_is_begun_while_a_lesson_holds_the_rig(desk: Desk) -> None:
    desk.begin()
    assert "holds the rig" in desk.post("/check", {"keep": "no"}, 422).text
    desk.press("pause")
    desk.worked(desk.post("/check", {"keep": "no"}))
