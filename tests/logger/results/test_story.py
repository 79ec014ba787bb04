from __future__ import annotations

import pytest

from logger.recording.folder import Event
from logger.results.story import reason_of, story


def told(*words: str) -> list[Event]:
    """Events one second apart; "void:a hand" has a detail."""
    return [Event(i * 10**9, *(w.split(":")[:1]), "page", "".join(w.split(":")[1:])) for i, w in enumerate(words)]


def test_the_last_arming_begins_the_run() -> None:
    found = story(told("armed", "go", "early_start", "armed", "go", "stop"))
    assert (found.armed_ns, found.go_ns, found.stop_ns) == (3 * 10**9, 4 * 10**9, 5 * 10**9)


def test_nobody_said_anything() -> None:
    found = story([])
    assert (found.armed_ns, found.go_ns, found.stop_ns, found.status, found.notes) == (None, None, None, "valid", ())


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("go", "void:gust"), "void"),
        (("go", "void:gust", "keep"), "valid"),
        (("go", "freed"), "freed"),
        (("go", "freed", "void", "keep"), "freed"),
        (("go", "did_not_finish"), "did_not_finish"),
        (("go", "did_not_finish", "void"), "void"),
    ],
)
def test_the_last_word_counts(words: tuple[str, ...], status: str) -> None:
    assert story(told(*words)).status == status


def test_reasons_and_notes_are_kept_in_their_words() -> None:
    assert story(told("go", "void:a gust", "note:wet deck")).notes == ("Void: a gust", "Note: wet deck")


def test_events_may_come_in_any_order() -> None:
    events = told("armed", "go", "freed", "keep")
    assert story(reversed(events)) == story(events)


def test_the_last_reason_for_what_was_decided_is_told() -> None:
    events = told("void:a hand", "keep", "void:a straw", "note:windy")
    assert reason_of(events, "void") == "a straw"
    assert reason_of(events, "freed") == ""
    assert reason_of(told("void"), "void") == ""
