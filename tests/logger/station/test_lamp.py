from __future__ import annotations

from typing import get_args

from logger.drivers.interface import Shown
from logger.recording.folder import Event
from logger.station.lamp import AT_FIRST, shown_after
from logger.station.referee import table_of


def test_every_decision_of_the_referee_shows_something() -> None:
    for kind in ("straight", "drift"):
        for begin in ("hands_off", "on_go"):
            for step in table_of(kind, begin).values():  # type: ignore[arg-type]
                name = "ended" if step.to == "ended" else step.event
                if name:
                    assert shown_after(Event(1, name, "referee")) in get_args(Shown), name


def test_hands_are_out_when_it_is_armed_and_the_end_is_seen() -> None:
    told = [shown_after(Event(1, name)) for name in ("armed", "started", "passed_mark", "ended")]
    assert [AT_FIRST, *told] == ["ready", "armed", "running", "running", "done"]


def test_what_is_no_decision_changes_nothing() -> None:
    assert shown_after(Event(1, "note")) is None
