"""Every way in which lgpio goes deaf meets its guard. gpiozero's own factory runs here; only lgpio itself is a fake."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.drivers import open_driver
from logger.drivers.edge_watch import RawEdge
from logger.drivers.gate_reader import GoneError, Wiring
from logger.drivers.gates_by_lgpio import MOST_WAITING_COUNT, LgpioReader
from logger.drivers.gpio_chips import find_chip
from logger.errors import DriverError
from logger.records import Edge, Fault
from tests.logger.drivers.fake_kernel import Controller, Kernel
from tests.logger.drivers.fake_lgpio import FakeLgpio

A, B = 17, 27


@pytest.fixture
def controller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Controller:
    return Kernel(tmp_path / "dev", monkeypatch).plug_in(Controller("pinctrl-rp1"), "gpiochip4")


@pytest.fixture
def lgpio(controller: Controller, monkeypatch: pytest.MonkeyPatch) -> Iterator[FakeLgpio]:
    fake = FakeLgpio(controller, 4)
    monkeypatch.setitem(sys.modules, "lgpio", fake)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    yield fake
    fake.end()
    sys.modules.pop("gpiozero.pins.lgpio", None)


@pytest.fixture
def reader(lgpio: FakeLgpio) -> Iterator[LgpioReader]:
    wiring = Wiring(find_chip("", where="gates"), {"A": A, "B": B}, "low", "up", "gates")
    reader = LgpioReader(wiring)
    yield reader
    reader.close()


def wait_for(reader: LgpioReader, count: int) -> list[RawEdge]:
    """That many edges, as soon as they are there."""
    raws: list[RawEdge] = []
    pause = threading.Event()
    for _ in range(2000):
        raws += reader.read(100)
        if len(raws) >= count:
            return raws
        pause.wait(0.001)
    return raws


def test_edges_come_with_whole_nanoseconds_and_the_gates_name(controller: Controller, reader: LgpioReader) -> None:
    reader.open()
    assert reader.levels() == {"A": False, "B": False}
    stamps = [controller.drive(A, False), controller.drive(B, False), controller.drive(A, True)]
    raws = wait_for(reader, 3)
    assert [(raw.gate, raw.blocked, raw.t_ns, raw.count) for raw in raws] == [
        ("A", True, stamps[0], 1), ("B", True, stamps[1], 1), ("A", False, stamps[2], 2),
    ]  # fmt: skip


def test_opened_over_and_over_it_is_never_deaf(controller: Controller, lgpio: FakeLgpio, reader: LgpioReader) -> None:
    for _ in range(4):
        reader.open()
        controller.drive(A, False)
        controller.drive(A, True)
        assert len(wait_for(reader, 2)) == 2
        reader.close()
        assert lgpio.alerts == []
        assert lgpio._notify_thread.callbacks == []
    assert lgpio.claimed_too_soon_count == 0


def test_a_thread_that_sleeps_is_woken(lgpio: FakeLgpio, controller: Controller, reader: LgpioReader) -> None:
    claim = lgpio.gpio_claim_alert

    def claim_and_sleep(*arguments: Any) -> None:
        claim(*arguments)
        lgpio.fall_asleep()

    lgpio.gpio_claim_alert = claim_and_sleep  # type: ignore[method-assign]
    reader.open()
    assert lgpio.kicks_count >= 1
    controller.drive(A, False)
    assert len(wait_for(reader, 1)) == 1


def test_a_thread_that_does_not_wake_is_not_accepted(lgpio: FakeLgpio, reader: LgpioReader) -> None:
    lgpio.sleeps_for_good = True
    with pytest.raises(DriverError, match=r'gates: lgpio\'s thread sleeps and 4 tries .*choose reader = "gpiod"'):
        reader.open()
    assert lgpio.handles == {}


def test_a_self_test_finds_a_thread_that_fell_asleep_later(lgpio: FakeLgpio, reader: LgpioReader) -> None:
    reader.open()
    assert [finding.health for finding in reader.findings()] == ["well"]
    lgpio.fall_asleep()
    assert [finding.health for finding in reader.findings()] == ["wrong"]


def test_gates_are_only_closed_together(lgpio: FakeLgpio, reader: LgpioReader) -> None:
    """Freeing the one claimed last would put the thread to sleep while another still listens."""
    freed: list[int] = []
    free = lgpio.gpio_free
    reader.open()
    lgpio.gpio_free = lambda handle, gpio: (freed.append(gpio), free(handle, gpio))  # type: ignore[method-assign]
    reader.read(1)
    reader.levels()
    reader.findings()
    assert freed == []
    assert set(lgpio.alerts) == {A, B}


def test_whatever_goes_wrong_in_a_callback_does_not_reach_the_thread(
    lgpio: FakeLgpio, controller: Controller, reader: LgpioReader
) -> None:
    reader.open()
    for _, _, func in lgpio._notify_thread.callbacks:
        func("no chip", None, "no level", object())
        func(4, 9999, 1, 5)  # a pin that nobody asked for
        func(4, [], 1, 5)
    controller.drive(A, False)
    assert len(wait_for(reader, 1)) == 1
    assert lgpio._notify_thread.is_alive()


def test_a_thread_that_has_ended_is_told(lgpio: FakeLgpio, reader: LgpioReader) -> None:
    reader.open()
    lgpio._notify_thread.reports.put(None)
    lgpio._notify_thread.join()
    with pytest.raises(GoneError, match="lgpio's thread has ended"):
        reader.read(1)


def test_edges_of_one_batch_are_sorted_by_their_stamps(lgpio: FakeLgpio, reader: LgpioReader) -> None:
    reader.open()
    for tick in (9_000_000_000, 1_000_000_000, 5_000_000_000):
        reader._hear(A, 1, tick)
    assert [raw.t_ns for raw in reader.read(9)] == [1_000_000_000, 5_000_000_000, 9_000_000_000]


def test_what_nobody_reads_is_bounded_and_counted(reader: LgpioReader) -> None:
    reader.open()
    for n in range(MOST_WAITING_COUNT + 7):
        reader._hear(A, n % 2, n)
    raws = reader.read(10**6)
    reader._hear(A, 1, 10**9)
    raws += reader.read(9)
    assert [raw.count for raw in raws] == [*range(8, MOST_WAITING_COUNT + 8), MOST_WAITING_COUNT + 8]


def test_a_line_that_is_polled_right_then_is_closed_by_another_try(lgpio: FakeLgpio, reader: LgpioReader) -> None:
    reader.open()
    lgpio.busy_closes_count = 2
    reader.close()
    assert lgpio.handles == {}


def test_what_was_pulled_out_has_gone(controller: Controller, reader: LgpioReader) -> None:
    reader.open()
    controller.pull_out()
    with pytest.raises(GoneError, match=r"the pins cannot be read any more \(bad GPIO read\)"):
        reader.levels()


def test_a_pin_in_use_is_refused(lgpio: FakeLgpio, controller: Controller, reader: LgpioReader) -> None:
    handle = lgpio.gpiochip_open(4)
    lgpio.gpio_claim_input(handle, B)
    lgpio._boatrun_alert_thread = 1
    with pytest.raises(DriverError, match=r'gates: in use already: pin 27 by "lg"'):
        reader.open()


def test_a_library_that_somebody_else_opened_first_cannot_be_watched(lgpio: FakeLgpio, reader: LgpioReader) -> None:
    lgpio.gpiochip_open(4)
    with pytest.raises(DriverError, match=r"something else in this program opened lgpio first"):
        reader.open()


def test_a_computer_without_lgpio_says_what_to_do(
    lgpio: FakeLgpio, reader: LgpioReader, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    with pytest.raises(DriverError, match=r'lgpio cannot be loaded .*choose reader = "gpiod"'):
        reader.open()


def test_the_driver_tells_of_edges_without_numbers_and_finds_a_deaf_gate(
    lgpio: FakeLgpio, controller: Controller
) -> None:
    options = {"pins": {"A": A, "B": B}, "blocked_is": "low", "reader": "lgpio"}
    stop = threading.Event()
    heard: list[Any] = []
    with open_driver("gpio_gates", options, name="gates") as driver:
        broke_ns = controller.drive(A, False)
        for record in driver.records(stop):
            if isinstance(record, Edge | Fault):
                heard.append(record)
            if len(heard) == 1 and not lgpio.sleeps_for_good:
                lgpio.sleeps_for_good = True
                lgpio.fall_asleep()
                controller.drive(A, True)
            if len(heard) == 2:
                stop.set()
    assert heard[0] == Edge(broke_ns, "A", True, "gates", None)
    assert heard[1].what == "gate A: the level changed without an edge"


@pytest.mark.skipif(importlib.util.find_spec("lgpio") is None, reason="lgpio has no wheel for this Python")
def test_the_real_library_leaves_the_working_directory_as_it_was(tmp_path: Path) -> None:
    """It makes a FIFO where it is imported, and changes the directory of the whole program if LG_WD is set."""
    code = (
        "import os; from logger.drivers.gates_by_lgpio import _import_lgpio\n"
        "_import_lgpio('gates'); print(os.getcwd()); print(os.environ['LG_WD'])"
    )
    environment = {key: value for key, value in os.environ.items() if key != "LG_WD"}
    here = tmp_path / "here"
    here.mkdir()
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=here, env=environment, capture_output=True, text=True, check=True
    )
    directory, own = done.stdout.split()
    assert Path(directory).resolve() == here.resolve()
    assert list(here.iterdir()) == []
    assert not Path(own).exists(), "cleared away at the end of the program"
