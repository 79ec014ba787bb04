from __future__ import annotations

import threading

from logger.checkup.visit import Until, listen, of_error, visit
from logger.drivers.interface import Finding
from logger.errors import DriverError
from logger.records import Quiet
from tests.logger.checkup.fake_devices import FakeDevice

NEVER = threading.Event()


def test_a_device_is_open_while_it_is_looked_at_and_closed_afterwards() -> None:
    device = FakeDevice()
    assert visit(device, lambda opened, _: opened.is_open, part="camera", within_s=10) is True
    assert not device.is_open


def test_why_a_device_cannot_be_opened_is_the_finding() -> None:
    refused = FakeDevice(opens=DriverError("camera: /dev/video0: found nobody there; plug it in"))
    found = visit(refused, lambda *_: None, part="camera", within_s=10)
    assert found == Finding("camera", "wrong", "/dev/video0: found nobody there", "plug it in")


def test_a_driver_that_fails_is_closed_and_told() -> None:
    device = FakeDevice()

    def look(*_: object) -> None:
        raise ZeroDivisionError("by\nzero")

    found = visit(device, look, part="scale", within_s=10)
    assert isinstance(found, Finding)
    assert (found.health, found.found) == ("wrong", "its driver failed (ZeroDivisionError: by zero)")
    assert not device.is_open


def test_a_device_that_hangs_is_given_up_and_closed_when_it_comes_back() -> None:
    device = FakeDevice()
    back, closed = threading.Event(), threading.Event()
    leave = device.__exit__
    device.__class__ = type("Hanging", (FakeDevice,), {"__exit__": lambda _, *w: (leave(*w), closed.set())[0]})

    def look(_: object, broken_off: threading.Event) -> None:
        broken_off.wait(30)
        back.set()

    found = visit(device, look, part="gates", within_s=0.05)
    assert isinstance(found, Finding)
    assert (found.health, found.found) == ("wrong", "it did not answer within 0.05 s")
    assert back.wait(10)
    assert closed.wait(10)
    assert not device.is_open


def test_listening_ends_when_enough_was_heard_or_the_time_is_over_or_the_driver_ends() -> None:
    device = FakeDevice(lambda now_ns: (Quiet(now_ns + n, "gates") for n in range(1000)))
    heard: list[object] = []
    assert not listen(device, Until(NEVER, 60), hear=heard.append, until=lambda: len(heard) == 3)
    assert len(heard) == 3
    assert listen(device, Until(NEVER, 60), hear=heard.append, until=lambda: False)
    assert len(heard) == 1003
    clock = iter([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    assert not listen(device, Until(NEVER, 2.5, now_s=lambda: next(clock)), hear=heard.append, until=lambda: False)


def test_a_visit_that_is_broken_off_stops_the_listening() -> None:
    broken_off = threading.Event()
    stop = Until(broken_off, 60)
    assert not stop.is_set()
    broken_off.set()
    assert stop.is_set()


def test_an_errors_last_part_is_the_cure() -> None:
    assert of_error("x", ValueError("a: b; c; do this")) == Finding("x", "wrong", "a: b; c", "do this")
    assert of_error("x", ValueError("only words")) == Finding("x", "wrong", "only words", "see what it says")
