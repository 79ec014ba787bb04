"""What people did around the run, from events.csv: when it was armed, when it was let go, how it is to be counted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from logger.recording.folder import Event
from logger.results.trial import Status

_STATUS: dict[str, Status] = {"void": "void", "did_not_finish": "did_not_finish", "freed": "freed"}


@dataclass(frozen=True, slots=True)
class Story:
    """The few moments that matter; None where nobody said so."""

    armed_ns: int | None
    go_ns: int | None
    stop_ns: int | None
    status: Status
    """As people decided: the last word counts; `keep` takes a void back."""
    notes: tuple[str, ...] = ()
    """Reasons and notes in people's own words."""


def story(events: Iterable[Event]) -> Story:
    """Read the events of one recording. Only the last arming and what follows it counts for the clock."""
    ordered = sorted(events, key=lambda e: e.t_ns)
    armed = _last(ordered, ("armed",)) or _last(ordered, ("arm",))
    since = ordered if armed is None else [e for e in ordered if e.t_ns >= armed]
    go, stop = _first(since, ("go",)), None
    if said := [e.t_ns for e in since if e.event == "stop" and (go is None or e.t_ns >= go)]:
        stop = said[0]
    return Story(armed, go, stop, _status(ordered), tuple(_notes(ordered)))


def _last(events: Sequence[Event], names: tuple[str, ...]) -> int | None:
    return next((e.t_ns for e in reversed(events) if e.event in names), None)


def _first(events: Sequence[Event], names: tuple[str, ...]) -> int | None:
    return next((e.t_ns for e in events if e.event in names), None)


def _status(events: Sequence[Event]) -> Status:
    freed = any(e.event == "freed" for e in events)
    decided: Status = "freed" if freed else "valid"
    for event in events:
        if event.event == "keep":
            decided = "freed" if freed else "valid"
        elif event.event in ("void", "did_not_finish"):
            decided = _STATUS[event.event]
    return decided


def reason_of(events: Iterable[Event], status: Status) -> str:
    """What people said when they decided so; empty if they gave no reason."""
    ordered = sorted(events, key=lambda e: e.t_ns)
    return next((e.detail for e in reversed(ordered) if _STATUS.get(e.event) == status and e.detail), "")


def _notes(events: Sequence[Event]) -> list[str]:
    words = {"void": "Void", "did_not_finish": "Did not finish", "freed": "Freed", "note": "Note"}
    return [f"{words[e.event]}: {e.detail}" for e in events if e.event in words and e.detail]
