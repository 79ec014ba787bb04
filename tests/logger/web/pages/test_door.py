from __future__ import annotations

import pytest

from logger.web import pin
from logger.web.pin import FREE_TRIES
from logger.web.sessions import IDLE_NS
from tests.logger.web.conftest import PIN, Desk


def test_with_the_pin_one_may_change_things_until_one_leaves(guarded: Desk) -> None:
    before = dict(guarded.client.cookies)
    guarded.post("/pin", {"pin": PIN})
    assert dict(guarded.client.cookies) != before, "a name that others may have given must not become one that may"
    assert "Do this now" in guarded.get("/rig")
    guarded.post("/cards/new", {"name": "Swan"})
    guarded.post("/leave", {}, drawn_at="/rig")
    assert "Do this now" not in guarded.get("/rig")


def test_a_wrong_pin_opens_nothing_and_too_many_make_wait(guarded: Desk) -> None:
    for _ in range(FREE_TRIES):
        assert "that is not the PIN" in guarded.post("/pin", {"pin": "guess"}, status=403).text
    assert "wait 60 s before the next try" in guarded.post("/pin", {"pin": PIN}, status=429).text
    guarded.clock.now_ns += 60_000_000_000
    guarded.post("/pin", {"pin": PIN})


def test_after_too_many_wrong_ones_even_the_right_one_is_refused(
    guarded: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pin, "MOST_TRIES", 8)  # a hundred take long, as they should
    for number in range(8):
        guarded.clock.now_ns += 4_000_000_000_000
        status = guarded.post("/pin", {"pin": f"guess {number}"}, status=403).status_code
        assert status == 403
    assert "nobody may try" in guarded.post("/pin", {"pin": PIN}, status=429).text


def test_a_stay_ends_by_itself(guarded: Desk) -> None:
    guarded.post("/pin", {"pin": PIN})
    guarded.clock.now_ns += IDLE_NS + 1
    assert "Do this now" not in guarded.get("/rig")


def test_where_no_pin_is_asked_for_that_is_said(desk: Desk) -> None:
    assert "No PIN is asked for" in desk.get("/pin")
