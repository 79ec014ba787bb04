from __future__ import annotations

from logger.recording.boat_card import read_boat
from tests.logger.web.conftest import Desk

SWAN = {"name": "Paper Swan", "length_mm": "8 1/4 in", "width_mm": "8 cm", "freeboard_mm": "20 ± 1", "mass_g": "48",
        "tag": "square", "tag_number": "7", "tag.size_mm": "40"}  # fmt: skip


def test_a_card_is_written_from_readings_in_any_unit_and_changed_later(desk: Desk) -> None:
    desk.post("/cards/new", SWAN)
    boat = read_boat(desk.folder / "cards" / "paper-swan.toml")
    assert boat.length_mm is not None
    assert abs(boat.length_mm - 8.25 * 25.4) < 0.01  # an inch is 25.4 mm (ISO 80000-3)
    assert (boat.width_mm, boat.mass_g) == (80.0, 48.0)
    assert boat.tag is not None
    assert boat.tag.number == 7
    assert "Paper Swan" in desk.get("/cards")
    desk.post("/cards/paper-swan.toml", {"mass_g": "60", "rebuilt": "yes", "tag": "none"})
    again = read_boat(desk.folder / "cards" / "paper-swan.toml")
    assert (again.mass_g, again.version, again.length_mm, again.tag) == (60.0, 2, boat.length_mm, None)
    assert len(list((desk.folder / "cards").glob("*-before-*.toml"))) == 1
    desk.post("/cards/new", SWAN)
    assert (desk.folder / "cards" / "paper-swan-2.toml").exists(), "another boat of the same name is another card"


def test_what_can_hardly_be_is_asked_again(desk: Desk) -> None:
    odd = SWAN | {"length_mm": "21"}
    answer = desk.post("/cards/new", odd, status=422)
    assert "were cm typed for mm?" in answer.text
    assert 'value="21"' in answer.text
    assert not (desk.folder / "cards").exists()
    desk.post("/cards/new", odd | {"sure": "yes", "width_mm": "20"})
    assert read_boat(desk.folder / "cards" / "paper-swan.toml").length_mm == 21


def test_mistakes_are_told_all_at_once_and_nothing_is_written(desk: Desk) -> None:
    answer = desk.post("/cards/new", SWAN | {"length_mm": "long", "mass_g": "-4"}, status=422)
    assert "length: found" in answer.text
    assert "mass: found" in answer.text
    assert "nickname of the boat: found" in desk.post("/cards/new", SWAN | {"name": ""}, status=422).text
    assert "needs its number" in desk.post("/cards/new", SWAN | {"tag_number": ""}, status=422).text
    assert not list(desk.folder.glob("cards/*"))


def test_a_card_that_cannot_be_read_is_told_and_the_others_are_shown(desk: Desk) -> None:
    desk.post("/cards/new", SWAN)
    (desk.folder / "cards" / "torn.toml").write_text("torn")
    text = desk.get("/cards")
    assert "torn.toml" in text
    assert "Paper Swan" in text
