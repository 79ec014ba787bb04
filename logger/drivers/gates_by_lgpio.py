"""Gates read through gpiozero's lgpio pins: every line as wide as its manual, and a guard for each way it goes deaf.

What was found in lgpio 0.2.2 (reproduced on a real kernel), and what is done here:

- Its alert thread can miss the call to wake up, surest when a chip is claimed soon after another was closed. So: open,
  wait 50 ms, claim every gate once. Then its voluntary switches in /proc must rise as those of a thread that polls; if
  not, a second chip handle is opened and closed, which wakes it; after four of these we give up loudly.
- Freeing the line that was claimed last puts it to sleep. So no gate is freed alone: all are closed together.
- An exception in a callback ends its only Python thread. So ours puts a tuple into a queue and cannot raise.
- Closing leaves callbacks behind, which then raise. So closing goes: handler off, pin closed, then the factory.
- It has room for 16 edges of a line and passes no numbers on. Losses show only in the levels (edge_watch.py).
- Importing it makes a FIFO in the working directory, and with LG_WD set it changes that directory for the whole
  program. So LG_WD names a folder of our own, and the working directory is put back.
"""

from __future__ import annotations

import atexit
import os
import shutil
import sys
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

from logger.drivers.edge_watch import RawEdge
from logger.drivers.gate_reader import GoneError, Wiring
from logger.drivers.gpio_chips import refusal
from logger.drivers.gpio_pins import board_of
from logger.drivers.interface import Finding
from logger.errors import DriverError

SETTLE_NS = 150_000_000
"""lgpio sorts for 0.5 ms and delivered within 48 ms on a loaded computer; closing any chip stalls it for 100 ms."""
BEFORE_CLAIM_S = 0.05
"""With this pause none of 591 openings was deaf; without it 107 of 229."""
MEASURE_S = 0.1
AWAKE_PER_S = 50
"""An alert thread that polls every 0.5 ms gives way 1,600 times a second, on a loaded computer less; one that sleeps,
never."""
KICKS_COUNT = 4
MOST_WAITING_COUNT = 20_000
"""Edges that nobody has read; more are counted and left out, which the watch then finds."""
CLOSE_TRIES_COUNT = 5
PULLS = {"up": "up", "down": "down", "none": "floating"}
"""Our words -> gpiozero's."""
_TASKS = Path("/proc/self/task")


class LgpioReader:
    """Reads the gates of one wiring."""

    numbers_edges = False
    settle_ns = SETTLE_NS

    def __init__(
        self,
        wiring: Wiring,
        *,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self._wiring, self._clock, self._wait = wiring, clock, wait
        self._heard: deque[tuple[int, int, int]] = deque()
        self._counts: dict[int, int] = {}
        self._dropped: dict[int, int] = {}
        self._dropped_known: dict[int, int] = {}
        self._gate_of = {pin: gate for gate, pin in wiring.pins.items()}
        self._lgpio: Any = None
        self._factory: Any = None
        self._pins: dict[str, Any] = {}

    def open(self) -> None:
        """Open the chip, claim every gate once, and prove that lgpio's thread is awake.

        Raises:
            DriverError: the lines cannot be had, lgpio is not there, or its thread stays asleep.
        """
        it = self._wiring
        self._lgpio = _import_lgpio(it.where)
        self._heard.clear()
        self._counts, self._dropped, self._dropped_known = (dict.fromkeys(self._gate_of, 0) for _ in range(3))
        before = _threads()
        try:
            self._factory = _factory(it.chip.number, it.chip.lines_count)
            _remember_alert_thread(self._lgpio, before)
            self._wait(BEFORE_CLAIM_S)
            for gate, pin in it.pins.items():
                self._pins[gate] = self._factory.pin(f"GPIO{pin}")
                self._pins[gate].pull = PULLS[it.pull]
            for pin in self._pins.values():
                pin.tell = self._hear
                pin.when_changed = self._ignore
        except self._lgpio.error as error:
            self.close()
            raise refusal(error, it.chip, it.pins.values(), where=it.where) from error
        self._wake()

    def _hear(self, pin: int, level: int, t_ns: int) -> None:
        """Runs in lgpio's thread, inside a guard; bounded, and never waits."""
        if pin not in self._gate_of:
            return
        if len(self._heard) < MOST_WAITING_COUNT:
            self._heard.append((pin, level, t_ns))
        else:
            self._dropped[pin] += 1

    def _ignore(self, ticks: object, state: object) -> None:
        """What gpiozero would call: it must be there for edges to be asked for, and is never reached."""

    def _wake(self) -> None:
        for _ in range(KICKS_COUNT):
            if self._is_awake():
                return
            self._lgpio.gpiochip_close(self._lgpio.gpiochip_open(self._wiring.chip.number))
            self._wait(BEFORE_CLAIM_S)
        if not self._is_awake():
            self.close()
            raise DriverError(
                f"{self._wiring.where}: lgpio's thread sleeps and {KICKS_COUNT} tries did not wake it; no edge would "
                'come; start the program anew, or choose reader = "gpiod"'
            )

    def _is_awake(self) -> bool:
        thread = getattr(self._lgpio, "_boatrun_alert_thread", None)
        if thread is None:
            self.close()
            raise DriverError(
                f"{self._wiring.where}: something else in this program opened lgpio first, so its thread cannot be "
                'watched; start the program anew, or choose reader = "gpiod"'
            )
        before, since_s = _switches_count(thread), time.monotonic()
        self._wait(MEASURE_S)
        rise = _switches_count(thread) - before
        return rise > AWAKE_PER_S * (time.monotonic() - since_s)

    def close(self) -> None:
        """Handlers off, pins, then the chip; a line that is being polled right then is busy and gets another try."""
        factory, self._factory = self._factory, None
        if factory is None:
            return
        for left in reversed(range(CLOSE_TRIES_COUNT)):
            try:
                for pin in self._pins.values():
                    pin.when_changed = None
                    pin.close()
                factory.close()
                break
            except self._lgpio.error:
                if not left:
                    self._pins = {}
                    raise
                self._wait(BEFORE_CLAIM_S)
        self._pins = {}

    def read(self, most: int) -> list[RawEdge]:
        """Up to `most` of the edges that lgpio has told us of, sorted: it mixes up those more than 2 s apart.

        The numbers count what it told, and what we had to leave out.
        """
        self._check_alive()
        read_ns = self._clock()
        heard = [self._heard.popleft() for _ in range(min(most, len(self._heard)))]
        return [self._raw(*one, read_ns=read_ns) for one in sorted(heard, key=lambda one: one[2])]

    def _raw(self, pin: int, level: int, t_ns: int, *, read_ns: int) -> RawEdge:
        dropped = self._dropped[pin]
        self._counts[pin] += 1 + dropped - self._dropped_known[pin]
        self._dropped_known[pin] = dropped
        blocked = self._wiring.is_blocked(high=bool(level))
        return RawEdge(self._gate_of[pin], blocked, t_ns, read_ns, self._counts[pin])

    def levels(self) -> dict[str, bool]:
        """How the pins stand now."""
        self._check_alive()
        try:
            return {gate: self._wiring.is_blocked(high=bool(pin.state)) for gate, pin in self._pins.items()}
        except self._lgpio.error as error:
            raise GoneError(
                f"the pins cannot be read any more ({error})", "start the board anew, and begin anew"
            ) from error

    def _check_alive(self) -> None:
        if self._factory is None:
            raise DriverError(f"{self._wiring.where}: the gates are not open; use them inside `with`")
        if not self._lgpio._notify_thread.is_alive():
            raise GoneError("lgpio's thread has ended, no edge comes any more", "start the program anew")

    def findings(self) -> list[Finding]:
        """Whether both of lgpio's threads are at work; takes a tenth of a second."""
        self._check_alive()
        if self._is_awake():
            return [Finding("gate reader", "well", f"lgpio's threads are awake, on {self._wiring.chip}")]
        return [
            Finding("gate reader", "wrong", "lgpio's thread sleeps, no edge would come", "close and open the gates")
        ]


def _import_lgpio(where: str) -> Any:
    """lgpio, with its FIFO in a folder of our own and the working directory as it was."""
    if sys.modules.get("lgpio") is not None:
        return sys.modules["lgpio"]
    here = Path.cwd()
    if "LG_WD" not in os.environ:
        os.environ["LG_WD"] = tempfile.mkdtemp(prefix="boatrun-lgpio-")
        atexit.register(shutil.rmtree, os.environ["LG_WD"], ignore_errors=True)
    try:
        return import_module("lgpio")
    except (ImportError, OSError) as error:
        raise DriverError(
            f'{where}: the library lgpio cannot be loaded ({error}); install it, or choose reader = "gpiod"'
        ) from error
    finally:
        os.chdir(here)


def _factory(chip_number: int, lines_count: int) -> Any:
    """A factory of gpiozero on lgpio, with whole nanoseconds and without asking which board this is."""
    from gpiozero.pins.lgpio import LGPIOFactory, LGPIOPin

    class StampedPin(LGPIOPin):  # type: ignore[misc]
        tell: Any = None

        def _call_when_changed(self, chip: int, gpio: int, level: int, ticks: int) -> None:
            try:
                if self.tell is not None and level in (0, 1):
                    self.tell(gpio, level, ticks)
            except Exception as error:
                # whatever goes wrong must not reach lgpio's thread, which would end; the watch finds the missing edge
                del error

    class HeaderFactory(LGPIOFactory):  # type: ignore[misc]
        def __init__(self) -> None:
            super().__init__(chip=chip_number)
            self.pins: dict[
                Any, Any
            ] = {}  # gpiozero shares one table among its local factories; a closed one's pins are no use here
            self.pin_class = StampedPin

        def _get_board_info(self) -> Any:
            return board_of(lines_count)

    return HeaderFactory()


def _threads() -> set[int]:
    return {int(entry.name) for entry in _TASKS.iterdir()}


def _remember_alert_thread(lgpio: Any, before: set[int]) -> None:
    """The C library makes two threads at the first opening in a process; the newer is the one that polls.

    It is remembered at the module, because it lives as long as that.
    """
    if getattr(lgpio, "_boatrun_alert_thread", None) is not None:
        return
    ours = {thread.native_id for thread in threading.enumerate()}
    made = sorted(_threads() - before - ours)
    lgpio._boatrun_alert_thread = made[-1] if made else None


def _switches_count(thread: int) -> int:
    """How often that thread has given way of its own accord; 0 if it is gone."""
    try:
        status = (_TASKS / str(thread) / "status").read_text(encoding="ascii")
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in status.splitlines() if line.startswith("voluntary")), 0)
