from __future__ import annotations

from logger.config import Boat
from logger.recording.boat_card import read_boat, write_boat
from tests.logger.web.conftest import AT, PIN, Desk


def teams(desk: Desk):
    return {team.number: team for team in desk.hands[-1].desk.standing.teams}  # type: ignore[union-attr]


def test_a_rebuilt_boat_is_a_new_version_and_asks_for_its_mass(desk: Desk) -> None:
    desk.begin()
    assert "weigh it" in desk.post("/teams/3", {"do": "rebuilt"}, 422, drawn_at="/teams").text
    desk.post("/teams/3", {"do": "rebuilt", "mass": "2 oz"}, drawn_at="/teams")
    boat = teams(desk)[3].boat
    assert (boat.version, round(boat.mass_g or 0, 3)) == (2, 56.699)
    assert "version 2" in desk.get("/teams")


def test_the_card_of_a_rebuilt_boat_says_so_and_the_one_before_is_kept(desk: Desk) -> None:
    path = desk.folder / "cards" / "swan.toml"
    write_boat(path, Boat("Paper Swan", length_mm=210.0, mass_g=48.0, colour="red"), at=AT)
    desk.begin(boat_3="swan.toml")
    desk.post("/teams/3", {"do": "rebuilt", "mass": "61"}, drawn_at="/teams")
    card = read_boat(path)
    assert (card.version, card.mass_g, card.length_mm, card.team) == (2, 61.0, 210.0, "")
    (older,) = path.parent.glob("swan-before-*.toml")
    assert read_boat(older).mass_g == 48.0
    desk.press("undo")
    desk.post("/teams/3", {"do": "rebuilt", "mass": "62"}, drawn_at="/teams")
    assert (read_boat(path).version, read_boat(path).mass_g) == (2, 62.0), "taken back and done again"


def test_teams_are_renamed_weighed_and_join_later(desk: Desk) -> None:
    desk.begin()
    desk.post("/teams/1", {"do": "rename", "nickname": "Foil Frog"}, drawn_at="/teams")
    desk.post("/teams/1", {"do": "weigh", "mass": "48", "length": "8 1/4 in"}, drawn_at="/teams")
    desk.post("/teams", {"number": "9", "nickname": "Latecomer"}, drawn_at="/teams")
    made = teams(desk)
    assert made[1].nickname == "Foil Frog"
    assert (made[1].boat.mass_g, made[1].boat.length_mm) == (48.0, 209.55), "1 in = 25.4 mm (NIST SP 811, B.8)"
    assert made[9].nickname == "Latecomer"


def test_what_cannot_be_is_refused(desk: Desk) -> None:
    desk.begin()
    for path, form in (
        ("/teams/99", {"do": "rename", "nickname": "A"}),
        ("/teams/1", {"do": "rename", "nickname": "=1+1"}),
        ("/teams/1", {"do": "rename", "nickname": teams(desk)[2].nickname}),
        ("/teams/1", {"do": "weigh", "mass": "48 kg"}),
        ("/teams/1", {"do": "boat", "boat": "none.toml"}),
        ("/teams", {"number": "1", "nickname": "Twice"}),
        ("/teams", {"number": "x", "nickname": "Odd"}),
    ):
        desk.post(path, form, 422, drawn_at="/teams")


def test_viewers_only_look(guarded: Desk) -> None:
    guarded.post("/pin", {"pin": PIN})
    guarded.begin()
    guarded.post("/leave", {}, drawn_at="/rig")
    assert 'action="/teams' not in guarded.get("/teams")
