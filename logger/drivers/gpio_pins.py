"""A pin factory for gpiozero on libgpiod: buttons, lamps and buzzers on any board and any Python that gpiod runs on.

gpiozero's own factories need lgpio (no wheel for Python 3.13) or the registers of older boards, and choose among
themselves with a mere warning. This one is always named: `LED(17, pin_factory=ChipFactory(...))`. Each pin is a request
of its own, so that a lamp can be closed while a button goes on. Edges carry the kernel's stamps: `ChipPin.when_edge`
gets them in whole nanoseconds, gpiozero's own `when_changed` in its ticks, which are seconds of the same clock. They
are handed on in the thread that calls `deliver`, or, if it is so wished, in one thread of the factory.

No PWM and no SPI: none of our devices wants them.
"""

from __future__ import annotations

import logging
import os
import select
import threading
from collections.abc import Callable, Mapping
from time import monotonic
from typing import Any

import gpiod
from gpiod.line import Clock, Direction, Edge, Value
from gpiozero import PinEdgeDetectUnsupported, PinFixedPull, PinInvalidFunction, PinInvalidPull, PinSetInput
from gpiozero.compat import frozendict
from gpiozero.pins import BoardInfo, HeaderInfo, PinInfo
from gpiozero.pins.pi import PiFactory, PiPin

from logger.drivers.gpio_chips import BIAS, Chip, Pull, refusal
from logger.errors import DriverError

CONSUMER = "boatrun panel"
"""Under this name the kernel shows others who has the pins."""
PULLS: Mapping[str, Pull] = {"up": "up", "down": "down", "floating": "none"}
"""gpiozero's words -> ours."""
EDGES: Mapping[str, Edge] = {"both": Edge.BOTH, "rising": Edge.RISING, "falling": Edge.FALLING}

BUFFER_COUNT = 64
"""Edges of one pin that the kernel keeps until they are handed on."""

log = logging.getLogger(__name__)

OnEdge = Callable[[int, bool], None]
"""(t_ns, level is high)"""


class HungUpError(OSError):
    """A pin can no longer be read."""


def board_of(lines_count: int) -> BoardInfo:
    """A board with one row of pins, GPIO0 and so on: what gpiozero wants to know, without asking which board it is."""
    pins = {
        number: PinInfo(
            number=number,
            name=f"GPIO{number}",
            names=frozenset((number, str(number), f"GPIO{number}", f"BCM{number}")),
            pull="",
            row=number + 1,
            col=1,
            interfaces=frozenset(("gpio",)),
        )
        for number in range(lines_count)
    }
    header = HeaderInfo(name="GPIO", rows=lines_count, columns=1, pins=frozendict(pins))
    unknown: dict[str, Any] = dict.fromkeys(BoardInfo._fields, 0)
    return BoardInfo(**{**unknown, "model": "any", "headers": frozendict({"GPIO": header}), "board": ""})


class ChipFactory(PiFactory):  # type: ignore[misc]
    """The pins of one controller for gpiozero."""

    def __init__(self, chip: Chip, *, where: str, consumer: str = CONSUMER, has_thread: bool = False) -> None:
        """Nothing is taken before a device asks for its pin.

        Args:
            chip: the controller.
            where: name of the driver, for messages.
            consumer: under this name the kernel shows others who has the pins.
            has_thread: True: edges are handed on by a thread of the factory; False: by `deliver`.
        """
        super().__init__()
        self.chip, self.where, self.consumer = chip, where, consumer
        self.pin_class = ChipPin
        self._board = board_of(chip.lines_count)
        self._listening: dict[int, ChipPin] = {}
        self._lock = threading.RLock()
        self._poll = select.poll()
        self._wake_read, self._wake_write = os.pipe()
        self._poll.register(self._wake_read, select.POLLIN)
        self._is_closed = False
        self._thread = threading.Thread(target=self._run, name=f"{where} pins", daemon=True) if has_thread else None
        if self._thread is not None:
            self._thread.start()

    def _get_board_info(self) -> BoardInfo:
        return self._board

    @staticmethod
    def ticks() -> float:
        """Seconds of the one clock, now."""
        return monotonic()

    @staticmethod
    def ticks_diff(later: float, earlier: float) -> float:
        """Seconds from `earlier` to `later`."""
        return later - earlier

    def listen(self, pin: ChipPin, fd: int) -> None:
        """From now on hand on the edges of this pin, which come out of that descriptor."""
        with self._lock:
            self._listening[fd] = pin
            self._poll.register(fd, select.POLLIN)
        self._wake()

    def forget(self, fd: int) -> None:
        """No more edges from that descriptor."""
        with self._lock:
            if self._listening.pop(fd, None) is not None:
                self._poll.unregister(fd)
        self._wake()

    def deliver(self, timeout_s: float = 0.0) -> None:
        """Hand on every edge that has come, in the caller's thread; waits so long for the first one.

        Raises:
            HungUpError: a pin can no longer be read.
        """
        timeout_ms = round(timeout_s * 1000)
        while ready := self._poll.poll(timeout_ms):
            timeout_ms = 0
            for fd, happened in ready:
                if fd == self._wake_read:
                    os.read(fd, 1024)
                    continue
                with self._lock:
                    pin = self._listening.get(fd)
                    if pin is not None:
                        pin.hand_on(is_lost=not happened & select.POLLIN)

    def _wake(self) -> None:
        if self._thread is not None and not self._is_closed:
            os.write(self._wake_write, b"w")

    def _run(self) -> None:
        while not self._is_closed:
            try:
                self.deliver(timeout_s=60.0)
            except HungUpError:
                return  # whoever reads or sets a pin is told so as well
            except Exception:
                log.exception("%s: a handler of a pin failed; the others go on", self.where)

    def close(self) -> None:
        """Close every pin, and end the thread."""
        if self._is_closed:
            return
        self._is_closed = True
        if self._thread is not None:
            os.write(self._wake_write, b"w")
            if self._thread is not threading.current_thread():
                self._thread.join()
        super().close()
        os.close(self._wake_read)
        os.close(self._wake_write)


class ChipPin(PiPin):  # type: ignore[misc]
    """One line of the controller, as gpiozero wants a pin to be."""

    def __init__(self, factory: ChipFactory, info: PinInfo) -> None:
        super().__init__(factory, info)
        self.when_edge: OnEdge | None = None
        """Called with each edge while `when_changed` is set: (t_ns, level is high). Must not raise."""
        self._is_output, self._pull, self._edges, self._is_heard = False, "floating", "both", False
        self._request: gpiod.LineRequest | None = None
        self._take()

    def _take(self, *, high: bool = False) -> None:
        """Request the line anew as it is now wanted."""
        self._release()
        if self._is_output:
            wish = gpiod.LineSettings(direction=Direction.OUTPUT, output_value=Value.ACTIVE if high else Value.INACTIVE)
        else:
            edges = EDGES[self._edges] if self._is_heard else Edge.NONE
            bias = BIAS[PULLS[self._pull]]
            wish = gpiod.LineSettings(
                direction=Direction.INPUT, edge_detection=edges, bias=bias, event_clock=Clock.MONOTONIC
            )
        chip = self.factory.chip
        try:
            self._request = gpiod.request_lines(
                chip.path, {self._number: wish}, consumer=self.factory.consumer, event_buffer_size=BUFFER_COUNT
            )
        except (OSError, ValueError) as error:
            raise refusal(error, chip, [self._number], where=self.factory.where) from error
        if self._is_heard and not self._is_output:
            self.factory.listen(self, self._request.fd)

    def _release(self) -> None:
        if self._request is not None:
            self.factory.forget(self._request.fd)
            self._request.release()
            self._request = None

    def close(self) -> None:
        """Let go of the line."""
        self._when_changed = None
        self._release()

    def _live(self) -> gpiod.LineRequest:
        if self._request is None:
            raise DriverError(f"{self.factory.where}: pin {self._number} is closed; open the device again")
        return self._request

    def hand_on(self, *, is_lost: bool = False) -> None:
        """Give every edge that has come to the handlers."""
        if is_lost:
            raise HungUpError(f"pin {self._number}: the kernel has hung up")
        try:
            events = self._live().read_edge_events(BUFFER_COUNT)
        except OSError as error:
            raise HungUpError(error.errno, f"pin {self._number}: {error.strerror or error}") from error
        for event in events:
            high = event.event_type is gpiod.EdgeEvent.Type.RISING_EDGE
            if self.when_edge is not None:
                self.when_edge(event.timestamp_ns, high)
            if self._when_changed is not None:
                self._call_when_changed(event.timestamp_ns / 1e9, int(high))

    def output_with_state(self, state: object) -> None:
        """Make it an output that begins at that level, without a blip."""
        self._is_output, self._is_heard = True, False
        self._take(high=bool(state))

    def input_with_pull(self, pull: str) -> None:
        """Make it an input with that pull at once."""
        self._check_pull(pull)
        self._is_output, self._pull = False, pull
        self._take()

    def _get_function(self) -> str:
        return "output" if self._is_output else "input"

    def _set_function(self, value: str) -> None:
        if value not in ("input", "output"):
            raise PinInvalidFunction(f'function "{value}" of {self!r}: "input" or "output" is wanted')
        if value != self._get_function():
            self._is_output, self._is_heard, self._pull = value == "output", False, "floating"
            self._take()

    def _get_state(self) -> int:
        return int(self._live().get_value(self._number) is Value.ACTIVE)

    def _set_state(self, value: object) -> None:
        if not self._is_output:
            raise PinSetInput(f"{self!r} is an input; make it an output first")
        self._live().set_value(self._number, Value.ACTIVE if value else Value.INACTIVE)

    def _get_pull(self) -> str:
        return self._pull

    def _set_pull(self, value: str) -> None:
        if self._is_output:
            raise PinFixedPull(f"{self!r} is an output and has no pull; make it an input first")
        self._check_pull(value)
        self._pull = value
        self._take()

    def _check_pull(self, value: str) -> None:
        if value not in PULLS:
            raise PinInvalidPull(f'pull "{value}" of {self!r}: one of {", ".join(PULLS)} is wanted')

    def _get_bounce(self) -> None:
        return None

    def _set_bounce(self, value: float | None) -> None:
        if value is not None:  # it would stamp the end of the bouncing and delete short pulses
            raise PinEdgeDetectUnsupported(f"{self!r} does not debounce; take the raw edges and judge their stamps")

    def _get_edges(self) -> str:
        return self._edges

    def _set_edges(self, value: str) -> None:
        if value not in EDGES:
            raise PinEdgeDetectUnsupported(f'edges "{value}" of {self!r}: one of {", ".join(EDGES)} is wanted')
        if value != self._edges:
            self._edges = value
            if self._is_heard:
                self._take()

    def _enable_event_detect(self) -> None:
        self._is_heard = True
        self._take()

    def _disable_event_detect(self) -> None:
        self._is_heard = False
        if self._request is not None:
            self._take()
