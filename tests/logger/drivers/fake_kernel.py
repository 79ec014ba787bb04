"""Lines of a GPIO controller as the kernel shows them through libgpiod, for tests without a board.

With the physics that matters to a driver: a level and whoever drives it, pulls, an interrupt that notes the time and a
thread that reads the level a little later, running numbers for each line, a buffer out of which the oldest edge falls,
one owner for a line, and a controller that can be pulled out. Settings, enumerations and events are the library's own.
As read in the kernel's drivers/gpio/gpiolib-cdev.c (6.1) and measured there with gpio-sim.
"""

from __future__ import annotations

import errno
import os
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import gpiod
import pytest
from gpiod.line import Bias, Clock, Direction, Edge, Value

from logger.drivers import gpio_chips

RISING, FALLING = 1, 2
BEGINS_NS = 5_000_000_000


class Line:
    """One line: the level on the wire, who owns it, and its interrupt."""

    def __init__(self, controller: Controller, offset: int) -> None:
        self.controller, self.offset = controller, offset
        self.driven: bool | None = None
        self.settings = gpiod.LineSettings()
        self.request: Request | None = None
        self.level = False
        self.noted_ns: int | None = None
        self.line_seqno = 0
        self.history: list[tuple[int, bool]] = []
        """(t_ns, level) of every change on the wire"""

    def drive(self, high: bool | None) -> int:
        """Somebody outside drives the wire, or lets go of it (None). Returns the time of it."""
        with self.controller.lock:
            self.driven = high
            return self.settle()

    def settle(self) -> int:
        wish = self.settings
        now_ns = self.controller.clock()
        if self.request is not None and wish.direction is Direction.OUTPUT:
            high = wish.output_value is Value.ACTIVE
        elif self.driven is not None:
            high = self.driven
        else:
            high = {Bias.PULL_UP: True, Bias.PULL_DOWN: False}.get(wish.bias, self.level)
        if high != self.level:
            self.level = high
            self.history.append((now_ns, high))
            if self.request is not None and wish.edge_detection is not Edge.NONE:
                self.noted_ns = now_ns  # a second change before the thread has run overwrites the first one's time
                if not self.controller.threads_stand_still:
                    self.run_thread()
        return now_ns

    def run_thread(self) -> None:
        if self.noted_ns is None or self.request is None:
            return
        t_ns, self.noted_ns = self.noted_ns, None
        wanted = {Edge.BOTH: (True, False), Edge.RISING: (True,), Edge.FALLING: (False,)}
        if self.level in wanted[self.settings.edge_detection]:
            self.line_seqno += 1
            self.request.push(self, t_ns + self.controller.stamps_off_by_ns)


class Request:
    """What one owner holds: some lines, and one buffer for the edges of all of them."""

    def __init__(self, lines: list[Line], consumer: str, buffer_count: int | None) -> None:
        self.lines = {line.offset: line for line in lines}
        self.controller = lines[0].controller
        self.consumer = consumer
        self.events: deque[gpiod.EdgeEvent] = deque(maxlen=min(1024, buffer_count or 16 * len(lines)))
        self.seqno = 0
        self.reads_count = 0
        self.fd, self._write_fd = os.pipe()
        self._is_released = False

    def push(self, line: Line, t_ns: int) -> None:
        self.seqno += 1
        if not self.events:
            os.write(self._write_fd, b"e")
        kind = RISING if line.level else FALLING
        kinds = {RISING: gpiod.EdgeEvent.Type.RISING_EDGE.value, FALLING: gpiod.EdgeEvent.Type.FALLING_EDGE.value}
        self.events.append(gpiod.EdgeEvent(kinds[kind], t_ns, line.offset, self.seqno, line.line_seqno))

    def read_edge_events(self, most: int | None = None) -> list[gpiod.EdgeEvent]:
        self._check()
        with self.controller.lock:
            assert self.events, "the real one would wait here for ever"
            read = [self.events.popleft() for _ in range(min(most or 64, len(self.events)))]
            if not self.events:
                os.read(self.fd, 1)
        self.reads_count += len(read)
        return read

    def get_values(self, offsets: Iterable[int]) -> list[Value]:
        self._check()
        return [Value.ACTIVE if self.lines[offset].level else Value.INACTIVE for offset in offsets]

    def get_value(self, offset: int) -> Value:
        return self.get_values([offset])[0]

    def set_value(self, offset: int, value: Value) -> None:
        self._check()
        with self.controller.lock:
            line = self.lines[offset]
            line.settings.output_value = value
            line.settle()

    def release(self) -> None:
        if not self._is_released:
            self._is_released = True
            for line in self.lines.values():
                line.request = None
                line.settings = gpiod.LineSettings()
            os.close(self.fd)
            self.hang_up()

    def hang_up(self) -> None:
        if self._write_fd >= 0:
            os.close(self._write_fd)
            self._write_fd = -1

    def _check(self) -> None:
        if self._is_released:
            raise gpiod.exception.RequestReleasedError
        if self.controller.is_gone:
            raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))


class Controller:
    """A GPIO controller with its lines."""

    def __init__(self, label: str, lines_count: int = 54, *, clock: Callable[[], int] = time.monotonic_ns) -> None:
        self.label, self.clock = label, clock
        self.lock = threading.RLock()
        self.lines = [Line(self, offset) for offset in range(lines_count)]
        self.is_gone = False
        self.is_forbidden = False
        self.threads_stand_still = False
        self.granted_clock = Clock.MONOTONIC
        self.stamps_off_by_ns = 0
        self.requests: list[Request] = []
        self.when_requested: Callable[[Request], None] = lambda _: None

    def drive(self, offset: int, high: bool | None) -> int:
        return self.lines[offset].drive(high)

    def run_threads(self) -> None:
        with self.lock:
            for line in self.lines:
                line.run_thread()

    @contextmanager
    def busy(self) -> Iterator[None]:
        """The kernel's threads do not get to run."""
        self.threads_stand_still = True
        try:
            yield
        finally:
            self.threads_stand_still = False
            self.run_threads()

    def pull_out(self) -> None:
        with self.lock:
            self.is_gone = True
            for request in self.requests:
                request.hang_up()


class Chip:
    """The library's Chip, over a controller of ours."""

    def __init__(self, controller: Controller, path: str) -> None:
        if controller.is_forbidden:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        if controller.is_gone:
            raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))
        self._controller, self.path = controller, path

    def __enter__(self) -> Chip:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        pass

    def get_info(self) -> Any:
        return SimpleNamespace(
            name=Path(self.path).name, label=self._controller.label, num_lines=len(self._controller.lines)
        )

    def get_line_info(self, offset: int) -> Any:
        line = self._controller.lines[offset]
        return SimpleNamespace(
            used=line.request is not None,
            consumer=line.request.consumer if line.request else "",
            event_clock=self._controller.granted_clock,
            edge_detection=line.settings.edge_detection,
            debounced=False,
        )

    def request_lines(
        self,
        config: Mapping[Any, gpiod.LineSettings | None],
        consumer: str | None = None,
        event_buffer_size: int | None = None,
    ) -> Request:
        wishes = {
            offset: wish or gpiod.LineSettings()
            for key, wish in config.items()
            for offset in ([key] if isinstance(key, int) else key)
        }
        with self._controller.lock:
            lines = [self._controller.lines[offset] for offset in wishes]
            if any(line.request is not None for line in lines):
                raise OSError(errno.EBUSY, os.strerror(errno.EBUSY))
            request = Request(lines, consumer or "?", event_buffer_size)
            for line in lines:
                wish = wishes[line.offset]
                line.settings = replace(wish)
                line.settle()
                line.request, line.line_seqno, line.noted_ns = request, 0, None
                line.settle()
            self._controller.requests.append(request)
        if any(wish.edge_detection is not Edge.NONE for wish in wishes.values()):
            self._controller.when_requested(request)
        return request


class Kernel:
    """Controllers in a folder that stands for /dev; put in the library's place for one test."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder = folder
        self.folder.mkdir(exist_ok=True)
        self.controllers: dict[str, Controller] = {}
        monkeypatch.setattr(gpio_chips, "DEVICES", folder)
        monkeypatch.setattr(gpiod, "Chip", self.open_chip)
        monkeypatch.setattr(gpiod, "request_lines", self.request_lines)

    def plug_in(self, controller: Controller, name: str = "gpiochip0") -> Controller:
        path = self.folder / name
        path.touch()
        self.controllers[str(path)] = controller
        return controller

    def open_chip(self, path: str) -> Chip:
        if path not in self.controllers:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))
        return Chip(self.controllers[path], path)

    def request_lines(self, path: str, config: Any, **more: Any) -> Request:
        return self.open_chip(path).request_lines(config, **more)


class Play:
    """Does things to a controller at given times after something of it was requested, each time anew."""

    def __init__(self, controller: Controller, *steps: tuple[float, Callable[[], object]]) -> None:
        self._steps = steps
        self._over = threading.Event()
        self._threads: list[threading.Thread] = []
        self._is_on = False
        controller.when_requested = self._begin

    def _begin(self, _: Request) -> None:
        if not self._is_on:
            self._is_on = True
            self._threads.append(threading.Thread(target=self._run))
            self._threads[-1].start()

    def _run(self) -> None:
        begun_s = time.monotonic()
        for at_s, do in self._steps:
            if self._over.wait(max(0.0, begun_s + at_s - time.monotonic())):
                return
            do()

    def close(self) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join()


class World:
    """Time, and what happens in it: (when, what), while the driver waits."""

    def __init__(self) -> None:
        self.now_ns = BEGINS_NS
        self.coming: list[tuple[int, Callable[[], object]]] = []
        self.waited_s: list[float] = []
        self.reads_counts: list[int] = [0]
        """How many edges had been read at each wait."""
        self.controller = Controller("pinctrl-rp1", clock=lambda: self.now_ns)
        self.stop = threading.Event()
        self.kernel: Any = None

    def at(self, ms: float, do: Callable[[], object]) -> None:
        self.coming.append((BEGINS_NS + round(ms * 1e6), do))
        self.coming.sort(key=lambda one: one[0])

    def drive(self, ms: float, pin: int, high: bool) -> int:
        self.at(ms, lambda: self.controller.drive(pin, high))
        return BEGINS_NS + round(ms * 1e6)

    def stop_at(self, ms: float) -> None:
        self.at(ms, self.stop.set)

    def wait(self, s: float) -> None:
        self.waited_s.append(s)
        self.reads_counts.append(sum(request.reads_count for request in self.controller.requests))
        until_ns = self.now_ns + round(s * 1e9)
        while self.coming and self.coming[0][0] <= until_ns:
            self.now_ns, do = self.coming[0][0], self.coming.pop(0)[1]
            do()
        self.now_ns = max(self.now_ns, until_ns)
