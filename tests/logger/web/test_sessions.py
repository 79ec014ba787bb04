from __future__ import annotations

from logger.web.sessions import IDLE_NS, LONGEST_NS, Sessions, is_token
from tests.logger.web.conftest import Clock


def test_a_browser_is_known_by_its_cookie_and_its_forms_by_their_token() -> None:
    sessions = Sessions(Clock(), asks_pin=True)
    first, other = sessions.visitor(None), sessions.visitor(None)
    assert first.is_new
    assert not first.is_operator
    again = sessions.visitor(first.name)
    assert (again.token, again.is_new) == (first.token, False)
    assert is_token(again, first.token)
    assert not is_token(again, other.token)
    assert not is_token(again, "")
    assert not is_token(again, "é")
    assert Sessions(Clock(), asks_pin=True).visitor(first.name).token != first.token, "of one start only"


def test_a_cookie_that_is_none_of_ours_is_not_taken_up() -> None:
    sessions = Sessions(Clock(), asks_pin=True)
    for odd in ("", "x", "x" * 44, "é" * 43, "a b" * 14 + "c"):
        assert sessions.visitor(odd).name != odd


def test_whoever_was_admitted_stays_for_a_class_and_no_longer_than_a_day() -> None:
    clock = Clock()
    sessions = Sessions(clock, asks_pin=True)
    name = sessions.admit().name
    clock.now_ns += IDLE_NS
    assert sessions.visitor(name).is_operator
    clock.now_ns += IDLE_NS + 1
    assert not sessions.visitor(name).is_operator
    clock.now_ns -= 1
    assert not sessions.visitor(name).is_operator, "once out, always out"
    name, begun = sessions.admit().name, clock.now_ns
    while clock.now_ns - begun <= LONGEST_NS - IDLE_NS:
        clock.now_ns += IDLE_NS
        assert sessions.visitor(name).is_operator
    clock.now_ns += IDLE_NS
    assert not sessions.visitor(name).is_operator


def test_leaving_is_at_once_and_many_do_not_pile_up() -> None:
    sessions = Sessions(Clock(), asks_pin=True)
    visitor = sessions.admit()
    sessions.leave(visitor)
    assert not sessions.visitor(visitor.name).is_operator
    names = [sessions.admit().name for _ in range(200)]
    assert sum(sessions.visitor(name).is_operator for name in names) == 64


def test_where_no_pin_is_asked_for_everybody_may() -> None:
    assert Sessions(Clock(), asks_pin=False).visitor(None).is_operator
