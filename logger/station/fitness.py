"""Whether the opened drivers are fit for a run, asked before every run: never take silence for an empty tank."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from logger.drivers.interface import Driver, Finding, SelfTesting
from logger.errors import DriverError
from logger.recording.folder import Event

EVENT = "self_test"
"""The event that tells of a finding which does not forbid the run."""


def self_tests(drivers: Iterable[Driver[Any]]) -> list[Finding]:
    """What the drivers that can look at themselves have found.

    Raises:
        DriverError: something is wrong, so that no run could be trusted; all of it at once.
    """
    findings = [finding for driver in drivers if isinstance(driver, SelfTesting) for finding in driver.self_test()]
    if wrong := [finding for finding in findings if finding.health == "wrong"]:
        raise DriverError(" | ".join(f"{finding.part}: {finding.found}; {finding.cure}" for finding in wrong))
    return findings


def events(findings: Iterable[Finding], *, t_ns: int) -> list[Event]:
    """The doubtful ones as events of the recording."""
    return [
        Event(t_ns, EVENT, finding.part, f"{finding.found}; {finding.cure}")
        for finding in findings
        if finding.health == "doubtful"
    ]
