"""Break-beam gates on GPIO pins: every edge as the kernel stamped it, and no word less when one is in doubt.

The reader is named in the rig file and written into the recording; none stands in for another. Both were measured on
gpio-sim (Linux 6.1): gpiod, with 1024 edges of room and the kernel's own numbers, lost none of 4,000 edges 2 ms apart
without a sign of it, was never deaf in 1,300 openings, and idles at 0.2 % of a core. lgpio, behind gpiozero, has room
for 16 edges, does not see the kernel's numbers, has a thread that falls asleep when a chip is opened again too soon
(107 of 229 openings before it was given 50 ms), and idles at 11 %. So gpiod is the choice where nothing is said; lgpio
is there for whoever has it in use, with a guard for each of its faults (gates_by_lgpio.py).

No record leaves at once. What was read waits for `settle_ns`, so that edges of several gates leave in the order of
their stamps and no `Quiet` is ever broken (in_order.py). A look every 20 ms is therefore soon enough, and also finds
the level that changed without an edge. A beam that is broken already as the gates are opened gives an edge numbered 0,
stamped when its level was read: without it nobody would refuse to arm.

A storm of edges gets an allowance: the room of the kernel's buffer at once, and then 4,000 a second; between batches
the other threads have their turn. Edges beyond that are lost in the kernel, which shows in the numbers and is a Fault.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal, Self

from logger.drivers.edge_watch import FLICKER_NS, EdgeWatch, RawEdge
from logger.drivers.gate_reader import GateReader, GoneError, Wiring
from logger.drivers.gpio_chips import Pull, check_pins, find_chip
from logger.drivers.in_order import InOrder
from logger.drivers.interface import Finding, Stop
from logger.errors import DriverError
from logger.records import ClockDoubt, Edge, Fault, Key, Quiet
from logger.settings import Text

LOOK_EVERY_S = 0.02
"""How often edges are read and levels looked at; also the longest that it is deaf to `stop`."""
BATCH_COUNT = 128
"""Edges read in one go: about 2 ms of work on a small board."""
BREATH_S = 0.001
"""Pause between full batches, in which the other threads of the program have their turn."""
BATCHES_COUNT = 10
"""In one go; then what was read gets its turn to be told."""
BURST_COUNT = 1024
EDGES_PER_S = 4000
"""Sustained. A beam that 40 boats a second went through, each with a rig, would make as many. (No source.)"""

Wait = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class GpioGatesOptions:
    """What rig.toml says of gates on pins."""

    pins: dict[str, int]
    """Gate -> pin, numbered as GPIO17 is 17."""
    blocked_is: Literal["low", "high"]
    """Level of the pin while the beam is broken. Try it out: it depends on the sensor."""
    pull: Pull = "up"
    """The pin's own resistor; "up" for sensors that only pull down (open collector)."""
    reader: Literal["gpiod", "lgpio"] = "gpiod"
    chip: Annotated[str, Text(most=200)] = ""
    """Label or name of the controller; empty: the one of a Raspberry Pi's header."""


class GpioGates:
    """All gates of one controller."""

    Options: ClassVar[type] = GpioGatesOptions

    def __init__(
        self,
        options: GpioGatesOptions,
        *,
        name: str,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Wait = time.sleep,
    ) -> None:
        self.name = name
        self._options, self._clock, self._wait = options, clock, wait
        self._session: _Session | None = None
        self._proven: set[str] = set()
        """Gates that were seen both ways in some opening: wiring and sensor work."""

    def __enter__(self) -> Self:
        it = self._options
        if not it.pins:
            raise DriverError(f'{self.name}: no gate is named; a pin for each is wanted; write pins = {{ "A" = 17 }}')
        chip = find_chip(it.chip, where=self.name)
        check_pins({f"gate {gate}": pin for gate, pin in it.pins.items()}, chip, where=self.name)
        wiring = Wiring(chip, it.pins, it.blocked_is, it.pull, self.name)
        self._session = _Session(
            self._reader(wiring), name=self.name, clock=self._clock, wait=self._wait, proven=self._proven
        )
        return self

    def _reader(self, wiring: Wiring) -> GateReader:
        if self._options.reader == "gpiod":
            from logger.drivers.gates_by_gpiod import GpiodReader

            return GpiodReader(wiring, clock=self._clock)
        from logger.drivers.gates_by_lgpio import LgpioReader

        return LgpioReader(wiring, clock=self._clock)

    def __exit__(self, *_: object) -> None:
        if self._session is not None:
            self._session.close()
            self._session = None

    def records(self, stop: Stop) -> Iterator[Edge | Quiet | Fault]:
        """Every edge with the kernel's stamp, faults before what they throw doubt on; until `stop`, or unplugged."""
        session = self._opened()
        try:
            while not stop.is_set():
                yield from _edges(session.step())
                self._wait(LOOK_EVERY_S)
            yield from _edges(session.leave())
        except GoneError as gone:
            yield from _edges(session.gone(gone))

    def self_test(self) -> list[Finding]:
        """Reader and gates: ours, readable, clear, each ever seen both ways? May be asked at any time."""
        try:
            return self._opened().findings()
        except GoneError as gone:
            return [Finding("gate reader", "wrong", gone.what, gone.cure)]

    def _opened(self) -> _Session:
        if self._session is None:
            raise DriverError(f"{self.name}: the gates are not open; use them inside `with`")
        return self._session


def _edges(records: Iterator[Edge | Key | Fault | ClockDoubt | Quiet]) -> Iterator[Edge | Quiet | Fault]:
    return (record for record in records if isinstance(record, Edge | Quiet | Fault))


class _Session:
    """The gates from one opening to the closing: what was read, what is known of it, what still waits."""

    def __init__(
        self, reader: GateReader, *, name: str, clock: Callable[[], int], wait: Wait, proven: set[str]
    ) -> None:
        self._reader, self._name, self._clock, self._wait, self._proven = reader, name, clock, wait, proven
        self._lock = threading.Lock()  # one thread hears the records, another may ask for a self-test
        opened_ns = clock()
        reader.open()
        try:
            levels = reader.levels()
            self._looked_ns = max(clock(), opened_ns + 1)
            self._watch = EdgeWatch(levels, source=name, opened_ns=opened_ns, looked_ns=self._looked_ns)
            self._order = InOrder(source=name, begins_ns=opened_ns - 1)
            self._whole_ns = opened_ns
            self._allowed, self._allowed_ns = float(BURST_COUNT), opened_ns
            self._before_look: set[str] = set()
            self._take_in()
        except GoneError as gone:
            reader.close()
            raise DriverError(f"{name}: {gone.what}; {gone.cure}") from gone
        for gate in levels:
            if levels[gate] and gate not in self._before_look:
                self._begin_blocked(gate)

    def _begin_blocked(self, gate: str) -> None:
        what = f"gate {gate}: the beam is broken already as the gates are opened"
        cure = 'clear it, and if nothing is in it, look for power and light at the sensor, or turn "blocked_is" round'
        self._order.add(Fault(self._looked_ns, self._name, what, cure))
        count = 0 if self._reader.numbers_edges else None
        self._order.add(Edge(self._looked_ns, gate, True, self._name, count))

    def close(self) -> None:
        self._reader.close()

    def step(self) -> Iterator[Edge | Key | Fault | ClockDoubt | Quiet]:
        with self._lock:
            self._take_in()
            told = list(self._order.up_to(self._whole_ns - self._reader.settle_ns))
        yield from told

    def leave(self) -> Iterator[Edge | Key | Fault | ClockDoubt | Quiet]:
        """Read what is there, and let everything go."""
        with self._lock:
            self._allowed = float(BURST_COUNT)
            self._take_in()
        yield from self._finish()

    def gone(self, gone: GoneError) -> Iterator[Edge | Key | Fault | ClockDoubt | Quiet]:
        """The last words: what was read before, and the end."""
        yield from self._finish()
        now_ns = max(self._clock(), self._order.promised_ns + 1)
        yield from self._order.up_to(now_ns - 1)
        yield Fault(now_ns, self._name, gone.what, gone.cure, since_ns=self._whole_ns, lasting=True)

    def _finish(self) -> Iterator[Edge | Key | Fault | ClockDoubt | Quiet]:
        for fault in self._watch.rest(self._clock()):
            self._order.add(fault)
        yield from self._order.rest()

    def _take_in(self) -> None:
        """Read what has come, as far as the allowance goes; `_whole_ns` then says up to when all was read."""
        for _ in range(BATCHES_COUNT):
            asked_ns = self._clock()
            most = min(BATCH_COUNT, int(self._allowance(asked_ns)))
            raws = self._reader.read(most) if most else []
            self._allowed -= len(raws)
            for raw in raws:
                self._take(raw)
            if len(raws) < most:
                self._whole_ns = max(self._whole_ns, asked_ns)
                return self._look()
            if raws:
                self._whole_ns = max(self._whole_ns, min(asked_ns, raws[-1].t_ns))
            if most < BATCH_COUNT:  # the allowance is used up
                return None
            self._wait(BREATH_S)
        return None

    def _allowance(self, now_ns: int) -> float:
        more = (now_ns - self._allowed_ns) * 1e-9 * EDGES_PER_S
        self._allowed, self._allowed_ns = min(float(BURST_COUNT), self._allowed + more), now_ns
        return self._allowed

    def _take(self, raw: RawEdge) -> None:
        faults, is_believed = self._watch.edge(raw)
        for fault in faults:
            self._order.add(fault)
        seen = self._watch.seen(raw.gate)
        if seen.ever_clear and seen.ever_blocked:
            self._proven.add(raw.gate)
        if raw.t_ns <= self._looked_ns:
            self._before_look.add(raw.gate)
        if is_believed:
            count = raw.count if self._reader.numbers_edges else None
            self._order.add(Edge(raw.t_ns, raw.gate, raw.blocked, self._name, count))

    def _look(self) -> None:
        looked_ns = self._clock()
        for fault in self._watch.look(self._reader.levels(), looked_ns=looked_ns):
            self._order.add(fault)

    def findings(self) -> list[Finding]:
        with self._lock:
            self._take_in()
            levels = self._reader.levels()
            return self._reader.findings() + [self._finding(gate, blocked) for gate, blocked in levels.items()]

    def _finding(self, gate: str, blocked: bool) -> Finding:
        part, seen = f"gate {gate}", self._watch.seen(gate)
        if blocked and not seen.ever_clear:
            cure = 'clear and line up the beam; see that the sensor has power; else turn "blocked_is" round'
            return Finding(part, "wrong", "the beam is broken and was never seen clear", cure)
        if blocked:
            return Finding(part, "doubtful", "the beam is broken", "clear it before the run")
        if seen.flickered_ns is not None and self._clock() - seen.flickered_ns < 2 * FLICKER_NS:
            cure = "keep sun and other lamps from the sensor, line up the beam, look at the plug"
            return Finding(part, "wrong", "the beam flickers", cure)
        if gate not in self._proven:
            cure = "pass a hand through the beam once"
            return Finding(
                part, "doubtful", "the beam is clear; it was not seen broken since the gates were opened", cure
            )
        if seen.is_doubtful:
            cure = "look at the faults in the recording; pass a hand through the beam and look again"
            return Finding(part, "doubtful", "edges were lost or doubtful since the gates were opened", cure)
        return Finding(part, "well", f"clear, and was seen both ways; {seen.edges_count} edges since the opening")
