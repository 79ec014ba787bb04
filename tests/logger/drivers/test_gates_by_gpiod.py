"""What the reader asks of the kernel, and what it makes of the answers."""

from __future__ import annotations

import os
import resource
from collections.abc import Iterator
from pathlib import Path

import gpiod
import pytest
from gpiod.line import Clock, Edge

from logger.drivers.edge_watch import RawEdge
from logger.drivers.gate_reader import CONSUMER, GoneError, Wiring
from logger.drivers.gates_by_gpiod import GpiodReader
from logger.drivers.gpio_chips import find_chip
from logger.errors import DriverError
from tests.logger.drivers.fake_kernel import Controller, Kernel

A, B = 17, 27


@pytest.fixture
def controller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Controller:
    return Kernel(tmp_path / "dev", monkeypatch).plug_in(Controller("pinctrl-rp1"), "gpiochip4")


@pytest.fixture
def reader(controller: Controller) -> Iterator[GpiodReader]:
    wiring = Wiring(find_chip("", where="gates"), {"A": A, "B": B}, "low", "up", "gates")
    reader = GpiodReader(wiring, clock=lambda: 99)
    yield reader
    reader.close()


def test_one_request_for_all_gates_with_both_edges_the_one_clock_and_the_largest_buffer(
    controller: Controller, reader: GpiodReader
) -> None:
    reader.open()
    (request,) = controller.requests
    assert set(request.lines) == {A, B}
    assert request.events.maxlen == 1024
    assert request.consumer == CONSUMER
    for line in request.lines.values():
        assert line.settings.edge_detection is Edge.BOTH
        assert line.settings.event_clock is Clock.MONOTONIC
        assert line.level, "pulled up"


def test_edges_come_with_the_kernels_stamp_level_and_number(controller: Controller, reader: GpiodReader) -> None:
    reader.open()
    broke_ns = controller.drive(A, False)
    assert reader.levels() == {"A": True, "B": False}
    cleared_ns = controller.drive(A, True)
    other_ns = controller.drive(B, False)
    assert reader.read(2) == [RawEdge("A", True, broke_ns, 99, 1), RawEdge("A", False, cleared_ns, 99, 2)]
    assert reader.read(2) == [RawEdge("B", True, other_ns, 99, 1)]
    assert reader.read(2) == []


def test_numbers_begin_anew_with_each_opening(controller: Controller, reader: GpiodReader) -> None:
    for _ in range(2):
        reader.open()
        controller.drive(A, False)
        controller.drive(A, True)
        assert [raw.count for raw in reader.read(9)] == [1, 2]
        reader.close()


def test_a_descriptor_above_1023_is_no_matter(controller: Controller, reader: GpiodReader) -> None:
    """Unlike with select(2), whose sets end there (FD_SETSIZE, POSIX)."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard != resource.RLIM_INFINITY and hard < 1200:
        pytest.skip("this process may not have so many open files")
    resource.setrlimit(resource.RLIMIT_NOFILE, (1200, hard))
    held: list[int] = []
    try:
        while not held or held[-1] < 1050:
            held.append(os.open(os.devnull, os.O_RDONLY))
        reader.open()
        assert controller.requests[0].fd > 1023
        controller.drive(A, False)
        assert len(reader.read(9)) == 1
    finally:
        for descriptor in held:
            os.close(descriptor)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def test_another_clock_is_refused_at_the_opening(controller: Controller, reader: GpiodReader) -> None:
    controller.granted_clock = Clock.REALTIME
    with pytest.raises(
        DriverError, match=r"gates: gate A: the kernel granted .*the monotonic clock, are wanted; use a"
    ):
        reader.open()
    assert controller.lines[A].request is None


def test_a_pin_in_use_names_its_user(controller: Controller, reader: GpiodReader) -> None:
    gpiod.request_lines(str(find_chip("", where="x").path), {B: None}, consumer="door bell")
    with pytest.raises(DriverError, match=r'gates: in use already: pin 27 by "door bell"'):
        reader.open()
    assert controller.lines[A].request is None


def test_what_was_pulled_out_has_gone(controller: Controller, reader: GpiodReader) -> None:
    reader.open()
    controller.pull_out()
    with pytest.raises(GoneError, match=r"the pins cannot be read any more \(the kernel has hung up\)"):
        reader.read(9)
    with pytest.raises(GoneError, match=r"No such device"):
        reader.levels()
    assert reader.findings()[0].health == "wrong"


def test_it_says_whether_the_lines_are_still_ours(controller: Controller, reader: GpiodReader) -> None:
    reader.open()
    assert [finding.health for finding in reader.findings()] == ["well"]
    controller.requests[0].consumer = "somebody"
    (finding,) = reader.findings()
    assert finding.health == "wrong"
    assert 'gate A (pin 17) is shown as "somebody"' in finding.found


def test_a_closed_reader_says_so(reader: GpiodReader) -> None:
    reader.close()
    with pytest.raises(DriverError, match=r"gates: the gates are not open; use them inside `with`"):
        reader.read(1)
