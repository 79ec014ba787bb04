"""The library lgpio as gpiozero's own factory uses it, over the lines of fake_kernel.py, with the ways it goes deaf.

Two threads beside Python's, as the real one has; one of them polls every 0.5 ms, takes at most 16 edges of a line, and
falls asleep where the real one was seen to: when a line is claimed soon after a chip was closed and opened again, and
when the line claimed last is freed. It wakes when another chip handle is closed. A second thread, Python's, calls back,
and ends for good when a callback raises.
"""

from __future__ import annotations

import _thread
import queue
import threading
import time
from types import ModuleType
from typing import Any

import gpiod
from gpiod.line import Bias, Direction, Edge, Value

from tests.logger.drivers.fake_kernel import RISING, Controller, Request

SOON_S = 0.05
OUT, PULL_UP, PULL_DOWN, PULL_NONE = 1 << 1, 1 << 5, 1 << 6, 1 << 7
BIAS = {PULL_UP: Bias.PULL_UP, PULL_DOWN: Bias.PULL_DOWN, PULL_NONE: Bias.DISABLED}


class LgError(Exception):
    """What the library raises."""


class NotifyThread(threading.Thread):
    """Python's side: calls back, and knows no try."""

    def __init__(self) -> None:
        super().__init__(name="lgpio notify", daemon=True)
        self.callbacks: list[tuple[int, int, Any]] = []
        self.reports: queue.SimpleQueue[tuple[int, int, int, int] | None] = queue.SimpleQueue()
        self.start()

    def run(self) -> None:
        while (report := self.reports.get()) is not None:
            chip, gpio, level, tick = report
            for its_chip, its_gpio, func in list(self.callbacks):
                if (its_chip, its_gpio) == (chip, gpio):
                    func(chip, gpio, level, tick)


class Callback:
    def __init__(self, notify: NotifyThread, entry: tuple[int, int, Any]) -> None:
        self._notify, self._entry = notify, entry
        notify.callbacks.append(entry)

    def cancel(self) -> None:
        if self._entry in self._notify.callbacks:
            self._notify.callbacks.remove(self._entry)


class FakeLgpio(ModuleType):
    """Put it into sys.modules under the name lgpio."""

    error = LgError
    SET_PULL_NONE, SET_PULL_UP, SET_PULL_DOWN = PULL_NONE, PULL_UP, PULL_DOWN
    RISING_EDGE, FALLING_EDGE, BOTH_EDGES = 1, 2, 3

    def __init__(self, controller: Controller, number: int = 0) -> None:
        super().__init__("lgpio")
        self.controller, self.number = controller, number
        self._notify_thread = NotifyThread()
        self.handles: dict[int, dict[int, Request]] = {}
        self.modes: dict[int, int] = {}
        self.alerts: list[int] = []
        self.closed_s, self.opened_s = -1.0, 0.0
        self.kicks_count = 0
        self.claimed_too_soon_count = 0
        self.sleeps_for_good = False
        self.busy_closes_count = 0
        self._next = 0
        self._awake = threading.Event()
        self._awake.set()
        self._over = threading.Event()
        self._has_threads = False

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):
            raise AttributeError(name)
        raise AssertionError(f"the fake has no lgpio.{name}")

    # --- chips ---

    def gpiochip_open(self, number: int) -> int:
        if number != self.number or self.controller.is_gone:
            raise LgError("can not open gpiochip")
        if not self._has_threads:
            self._has_threads = True
            _thread.start_new_thread(self._over.wait, ())
            _thread.start_new_thread(self._poll_for_ever, ())
        self._next += 1
        self.handles[self._next] = {}
        self.opened_s = time.monotonic()
        return self._next

    def gpiochip_close(self, handle: int) -> None:
        for gpio in list(self.handles[handle]):
            self._free(handle, gpio)
        del self.handles[handle]
        self.closed_s = time.monotonic()
        self.kicks_count += 1
        if not self.sleeps_for_good:
            self._awake.set()

    def end(self) -> None:
        """The test is over."""
        self._over.set()
        self._awake.set()
        self._notify_thread.reports.put(None)
        self._notify_thread.join()

    # --- lines ---

    def _free(self, handle: int, gpio: int) -> None:
        request = self.handles[handle].pop(gpio, None)
        if request is not None:
            if gpio in self.alerts:
                if gpio == self.alerts[-1] and len(self.alerts) > 1:
                    self._awake.clear()  # the scan of its list ends with nothing found
                self.alerts.remove(gpio)
            request.release()

    def _claim(self, handle: int, gpio: int, flags: int, wish: gpiod.LineSettings) -> None:
        if handle not in self.handles:
            raise LgError("unknown handle")
        if self.busy_closes_count and gpio in self.alerts:
            self.busy_closes_count -= 1
            raise LgError("GPIO busy")
        self._free(handle, gpio)
        line = self.controller.lines[gpio]
        if line.request is not None:
            raise LgError("GPIO busy")
        request = Request([line], "lg", None)
        with self.controller.lock:
            line.settings = wish
            line.settle()
            line.request, line.line_seqno = request, 0
            self.controller.requests.append(request)
        self.handles[handle][gpio] = request
        self.modes[gpio] = flags

    def gpio_claim_input(self, handle: int, gpio: int, flags: int = 0) -> None:
        bias = BIAS.get(flags, Bias.AS_IS)
        self._claim(handle, gpio, flags, gpiod.LineSettings(direction=Direction.INPUT, bias=bias))

    def gpio_claim_output(self, handle: int, gpio: int, level: int = 0, flags: int = 0) -> None:
        value = Value.ACTIVE if level else Value.INACTIVE
        self._claim(handle, gpio, flags | OUT, gpiod.LineSettings(direction=Direction.OUTPUT, output_value=value))

    def gpio_claim_alert(self, handle: int, gpio: int, edges: int, flags: int = 0) -> None:
        assert edges == self.BOTH_EDGES
        bias = BIAS.get(flags, Bias.AS_IS)
        wish = gpiod.LineSettings(direction=Direction.INPUT, bias=bias, edge_detection=Edge.BOTH)
        self._claim(handle, gpio, flags, wish)
        self.alerts.append(gpio)
        if self.sleeps_for_good or (
            self.closed_s >= 0 and self.opened_s - self.closed_s < SOON_S > self._since_open_s()
        ):
            self.claimed_too_soon_count += 1
            self._awake.clear()  # the call to wake up comes before it waits for it
        self.controller.when_requested(self.handles[handle][gpio])

    def _since_open_s(self) -> float:
        return time.monotonic() - self.opened_s

    def gpio_free(self, handle: int, gpio: int) -> None:
        self._free(handle, gpio)

    def gpio_get_mode(self, handle: int, gpio: int) -> int:
        return self.modes.get(gpio, 0)

    def gpio_read(self, handle: int, gpio: int) -> int:
        if self.controller.is_gone:
            raise LgError("bad GPIO read")
        return int(self.controller.lines[gpio].level)

    def callback(self, handle: int, gpio: int, edge: int, func: Any) -> Callback:
        return Callback(self._notify_thread, (self.number, gpio, func))

    # --- the thread that polls ---

    def fall_asleep(self) -> None:
        self._awake.clear()

    def _poll_for_ever(self) -> None:
        while not self._over.is_set():
            self._awake.wait()
            self._over.wait(0.0005)
            for handle in list(self.handles.values()):
                for gpio, request in list(handle.items()):
                    self._report(gpio, request)

    def _report(self, gpio: int, request: Request) -> None:
        with self.controller.lock:
            if not self._awake.is_set() or gpio not in self.alerts or not request.events:
                return
            events = request.read_edge_events(128)
        for event in events:
            level = int(event.event_type.value == RISING)
            self._notify_thread.reports.put((self.number, gpio, level, event.timestamp_ns))
