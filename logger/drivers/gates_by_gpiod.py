"""Gates read straight from the kernel's descriptor, through libgpiod. No thread, nothing that could fall asleep.

One request for all gates: the edges of all lines come out of one buffer in one order. The kernel holds 1024 edges at
most (of more, the oldest go, and the numbers of the next ones jump); it stamps each in its interrupt. No debouncing:
the kernel's stamps the end of the bouncing and deletes short pulses.
"""

from __future__ import annotations

import errno
import select
import time
from collections.abc import Callable, Iterable

import gpiod
from gpiod.line import Clock, Direction, Edge, Value

from logger.drivers.edge_watch import RawEdge
from logger.drivers.gate_reader import CONSUMER, GoneError, Wiring
from logger.drivers.gpio_chips import BIAS, refusal
from logger.drivers.interface import Finding
from logger.errors import DriverError

BUFFER_COUNT = 1024
"""Edges that the kernel keeps for us: the most that it grants (16 for each line if nothing is said)."""
SETTLE_NS = 50_000_000
"""From stamp to buffer the kernel's thread takes some 0.1 ms on a board; 33 ms was seen in a loaded virtual machine."""
_LOST = select.POLLHUP | select.POLLERR | select.POLLNVAL


class GpiodReader:
    """Reads the gates of one wiring."""

    numbers_edges = True
    settle_ns = SETTLE_NS

    def __init__(self, wiring: Wiring, *, clock: Callable[[], int] = time.monotonic_ns) -> None:
        self._wiring, self._clock = wiring, clock
        self._gate_of = {pin: gate for gate, pin in wiring.pins.items()}
        self._request: gpiod.LineRequest | None = None
        self._poll = select.poll()

    def open(self) -> None:
        """Take all lines in one request.

        Raises:
            DriverError: they cannot be had, or the kernel does not do as asked.
        """
        it = self._wiring
        wish = gpiod.LineSettings(
            direction=Direction.INPUT, edge_detection=Edge.BOTH, bias=BIAS[it.pull], event_clock=Clock.MONOTONIC
        )
        lines: dict[Iterable[int | str] | int | str, gpiod.LineSettings | None] = {tuple(self._gate_of): wish}
        try:
            with gpiod.Chip(it.chip.path) as chip:
                self._request = chip.request_lines(lines, consumer=CONSUMER, event_buffer_size=BUFFER_COUNT)
                self._check_granted(chip)
        except (OSError, ValueError) as error:
            self.close()
            if isinstance(error, DriverError):
                raise
            raise refusal(error, it.chip, it.pins.values(), where=it.where) from error
        self._poll.register(self._request.fd, select.POLLIN)

    def _check_granted(self, chip: gpiod.Chip) -> None:
        for gate, pin in self._wiring.pins.items():
            info = chip.get_line_info(pin)
            if info.event_clock != Clock.MONOTONIC or info.edge_detection != Edge.BOTH or info.debounced:
                raise DriverError(
                    f"{self._wiring.where}: gate {gate}: the kernel granted {info}; both edges without debouncing, "
                    "stamped by the monotonic clock, are wanted; use a kernel of 5.10 or newer"
                )

    def close(self) -> None:
        """Let go of the lines."""
        if self._request is not None:
            self._poll = select.poll()
            self._request.release()
            self._request = None

    def read(self, most: int) -> list[RawEdge]:
        """Up to `most` of the kernel's edges; never waits."""
        request = self._open_request()
        try:
            if not self._has_edges():
                return []
            events = request.read_edge_events(most)
        except OSError as error:
            raise _gone(error) from error
        read_ns = self._clock()
        return [self._raw(event, read_ns) for event in events]

    def _has_edges(self) -> bool:
        for _, happened in self._poll.poll(0):
            if happened & select.POLLIN:
                return True
            if happened & _LOST:
                raise OSError(errno.ENODEV, "the kernel has hung up")
        return False

    def _raw(self, event: gpiod.EdgeEvent, read_ns: int) -> RawEdge:
        is_high = event.event_type is gpiod.EdgeEvent.Type.RISING_EDGE
        gate = self._gate_of[event.line_offset]
        return RawEdge(gate, self._wiring.is_blocked(high=is_high), event.timestamp_ns, read_ns, event.line_seqno)

    def levels(self) -> dict[str, bool]:
        """How the pins stand now."""
        try:
            values = self._open_request().get_values(list(self._gate_of))
        except OSError as error:
            raise _gone(error) from error
        return {
            gate: self._wiring.is_blocked(high=value is Value.ACTIVE)
            for gate, value in zip(self._gate_of.values(), values, strict=True)
        }

    def findings(self) -> list[Finding]:
        """Whether the kernel still says that the lines are ours."""
        strangers = []
        try:
            with gpiod.Chip(self._wiring.chip.path) as chip:
                for gate, pin in self._wiring.pins.items():
                    info = chip.get_line_info(pin)
                    if not info.used or info.consumer != CONSUMER:
                        strangers.append(f'gate {gate} (pin {pin}) is shown as "{info.consumer}"')
        except OSError as error:
            strangers.append(f"{self._wiring.chip} cannot be asked ({error.strerror})")
        if strangers:
            return [Finding("gate reader", "wrong", "; ".join(strangers), "close and open the gates again")]
        return [Finding("gate reader", "well", f"the kernel's own edges, from {self._wiring.chip}")]

    def _open_request(self) -> gpiod.LineRequest:
        if self._request is None:
            raise DriverError(f"{self._wiring.where}: the gates are not open; use them inside `with`")
        return self._request


def _gone(error: OSError) -> GoneError:
    return GoneError(
        f"the pins cannot be read any more ({error.strerror or error})",
        "plug the controller in again, or start the board anew, and begin anew",
    )
