from __future__ import annotations

import threading

import pytest

from logger.drivers import open_driver
from logger.drivers.interface import Attended
from logger.errors import DriverError
from logger.records import Edge, Quiet


def test_the_person_does_what_is_asked_while_it_is_listened_to() -> None:
    with open_driver("simulated_attended_gates", {"gates": ["A", "B"], "pace": "fast", "length_s": 12.0}) as driver:
        assert isinstance(driver, Attended)
        found, asked = [], False
        for record in driver.records(threading.Event()):
            if not asked:
                driver.ask(gate="B", from_ns=record.t_ns + 10**9, every_ns=3 * 10**9, times_count=3)
                asked = True
            found.append(record)
    edges = [record for record in found if isinstance(record, Edge)]
    assert [(edge.gate, edge.blocked) for edge in edges] == [("B", True), ("B", False)] * 3
    assert isinstance(found[-1], Quiet)
    assert found[-1].t_ns - found[0].t_ns == pytest.approx(12e9, abs=2e8)


def test_no_real_device_has_such_a_person() -> None:
    pins = {"pins": {"A": 17}, "blocked_is": "high"}
    assert not isinstance(open_driver("gpio_gates", pins), Attended)


def test_a_gate_that_is_not_there_and_a_closed_tub_are_told() -> None:
    driver = open_driver("simulated_attended_gates", {"gates": ["A"], "pace": "fast"})
    with pytest.raises(DriverError, match="is not open"):
        next(iter(driver.records(threading.Event())))
    with driver, pytest.raises(DriverError, match="there is no gate 'C'; there are A"):
        driver.ask(gate="C", from_ns=0, every_ns=1, times_count=1)


def test_a_beam_of_too_little_light_is_told_as_it_is_opened() -> None:
    options = {"gates": ["A", "B"], "light_ratio": [5.0, 0.5], "pace": "fast", "length_s": 1.0}
    with open_driver("simulated_attended_gates", options) as driver:
        edges = [record for record in driver.records(threading.Event()) if isinstance(record, Edge)]
    assert [(edge.gate, edge.blocked) for edge in edges] == [("B", True)]
