from __future__ import annotations

from tests.logger.web.conftest import PIN, Desk


def led_to(desk: Desk, path: str = "/") -> str:
    return desk.client.get(path, follow_redirects=False).headers["location"]


def test_it_leads_to_what_is_wanted_now(desk: Desk, guarded: Desk) -> None:
    assert led_to(desk) == "/lesson/new"
    desk.begin()
    assert led_to(desk, "/?said=in") == "/lesson?said=in"


def test_viewers_are_led_to_the_board(guarded: Desk) -> None:
    assert led_to(guarded) == "/board"
    guarded.post("/pin", {"pin": PIN})
    assert led_to(guarded) == "/lesson/new"
