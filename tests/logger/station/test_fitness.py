from __future__ import annotations

from typing import Any

import pytest

from logger.drivers.interface import Finding
from logger.errors import DriverError
from logger.recording.folder import Event
from logger.station.fitness import events, self_tests

WELL = Finding("gate A", "well", "clear; both levels were seen")
ODD = Finding("camera", "doubtful", "29.1 pictures a second, asked for 30", "more light, or ask for less")
DEAF = Finding("gate A", "wrong", "the reader's thread is asleep", "close everything and begin anew")
STUCK = Finding("gate B", "wrong", "the beam is broken", "clear the beam")


class Device:
    """A device that has looked at itself."""

    def __init__(self, *findings: Finding) -> None:
        self._findings = list(findings)

    def self_test(self) -> list[Finding]:
        return self._findings


def test_what_is_doubtful_becomes_an_event_and_what_is_well_is_not_worth_one() -> None:
    devices: list[Any] = [Device(WELL), Device(ODD), object()]
    assert events(self_tests(devices), t_ns=7) == [
        Event(7, "self_test", "camera", "29.1 pictures a second, asked for 30; more light, or ask for less")
    ]


def test_everything_that_is_wrong_is_told_at_once() -> None:
    devices: list[Any] = [Device(WELL, DEAF), Device(STUCK)]
    with pytest.raises(DriverError, match=r"gate A: .* asleep; close .* \| gate B: the beam is broken"):
        self_tests(devices)
