"""Gates at a small board of its own, which stamps the edges by its own counter and tells them over a serial port.

The board's side is in hardware/firmware/, what is said in hardware/serial_protocol.md. How the counter is brought onto
the host's one clock stands in board_clock.py, what follows from each line in board_session.py; here is the port: who
is greeted, when, and what happens when the board goes and comes back. Whatever happens, only `stop` ends the records.
"""

from __future__ import annotations

import contextlib
import itertools
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal, Self, TypeAlias

from logger.drivers import board_lines
from logger.drivers.board_lines import PROTOCOL, SESSIONS, Hello
from logger.drivers.board_session import BoardSession, LastWord, SessionOverError, Wiring
from logger.drivers.interface import Finding, Stop
from logger.drivers.serial_line import LineGoneError, SerialLine
from logger.errors import ConfigError, DriverError
from logger.records import ClockDoubt, Edge, Fault, Quiet
from logger.settings import Range, Text

GREET_NS = 400_000_000
"""A board that has not answered a greeting for so long is greeted again: opening a port starts some boards anew."""
GREETED_NS = 6_000_000_000
"""Until a board must have answered when the driver is opened."""
FITTED_NS = 6_000_000_000
"""Until its clock must be known then."""
TRY_AGAIN_NS = 500_000_000
"""Between two attempts to find a port that has gone."""
QUIET_S = 0.05
"""While there is no board, silence is told this often."""
MOST_BEFORE_COUNT = 1000
"""Lines that are kept from between a greeting and its answer."""
STALE_NS = 500_000_000
"""What was not read for so long is not believed; the board is greeted anew."""
TEST_NS = 1_200_000_000
"""So long the self-test listens."""
MOST_GATES_COUNT = 8
ODD_PPM = 6000.0
"""A crystal is within 100 ppm, a ceramic resonator within 5000 ppm (makers' usual tolerances, no one source)."""
SLOW_U_NS = 2_000_000
"""A boat of 1 m/s goes 2 mm meanwhile, as far as its bow is known by the camera."""

Told: TypeAlias = Edge | Quiet | Fault | ClockDoubt


@dataclass(frozen=True, slots=True)
class SerialGatesOptions:
    """What rig.toml says of gates at a board."""

    port: Annotated[str, Text(most=200, least=1)]
    """A path, such as "/dev/ttyACM0", or the USB identity "usb:vendor:product" or "usb:vendor:product:number"."""
    gates: Mapping[str, Any]
    """Name of the gate in the rig -> its number at the board, from 0."""
    blocked_is: Literal["high", "low"] = "high"
    """The level of a gate's pin while its beam is blocked."""
    baud_hz: Annotated[int, Range(least=9600, most=4_000_000)] = 115_200
    """Bits a second; without meaning where the board is on USB by itself."""


class SerialGates:
    """All gates of one board. `read` of the port, its thread and its time are the caller's."""

    Options: ClassVar[type] = SerialGatesOptions

    def __init__(self, options: SerialGatesOptions, *, name: str) -> None:
        self.name = name
        self._port = options.port
        self._wiring = Wiring(name, _channels(options.gates, name), 1 if options.blocked_is == "high" else 0)
        self._line = SerialLine(options.port, baud_hz=options.baud_hz, name=name)
        self._sessions = itertools.count(time.monotonic_ns() // 1_000_000)  # not that of the last program's
        self._order = LastWord()
        self._session: BoardSession | None = None
        self._read_ns = self._tried_ns = 0
        self._told, self._has_spoken = "", False

    def __enter__(self) -> Self:
        self._order, self._has_spoken = LastWord(), False
        self._line.open()
        try:
            self._greet_or_fail()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self._session = None
        self._line.close()

    def _greet_or_fail(self) -> None:
        try:
            for _ in self._greet():
                pass
        except LineGoneError as error:
            raise DriverError(
                f"{self.name}: {self._port}: {error}; a board that speaks the gates' protocol is wanted; flash our "
                "firmware (hardware/firmware/README.md), check baud_hz, or name another port"
            ) from error
        session, began_ns = self._the_session(), time.monotonic_ns()
        try:
            while not session.is_ready:
                self._pump(session)
                if time.monotonic_ns() - began_ns > FITTED_NS:
                    raise SessionOverError("the board answers too seldom for its clock to be known", "check its cable")
        except (LineGoneError, SessionOverError) as error:
            raise DriverError(f"{self.name}: {self._port}: {error}; plug it in again and begin anew") from error

    def _the_session(self) -> BoardSession:
        if self._session is None:
            raise DriverError(f"{self.name}: {self._port}: the port is not open; use the driver inside `with`")
        return self._session

    def _greet(self) -> Iterator[Quiet | None]:
        """Greet the board until it has answered, with silence told meanwhile: what happens before counts for nothing.

        Gives None wherever it can be left off.

        Raises:
            DriverError: what answered is no board that can be used.
            LineGoneError: the port has gone, or nothing answers.
        """
        self._session = None
        began_ns = next_ns = time.monotonic_ns()
        hello: Hello | None = None
        before: list[bytes] = []
        after: tuple[bytes, ...] = ()
        while hello is None:
            now_ns = time.monotonic_ns()
            if now_ns - began_ns > GREETED_NS:
                raise LineGoneError(f"nothing has answered a greeting for {GREETED_NS // 1_000_000_000} s")
            if now_ns >= next_ns:
                number = next(self._sessions) % (SESSIONS - 1) + 1
                next_ns = now_ns + GREET_NS
                before = []  # what has come so far happened earlier
                yield from self._order.quiet(time.monotonic_ns(), self.name)
                self._line.write(b"\n" + board_lines.greeting(number))  # what was half sent before ends here
            yield None
            heard = self._line.read()
            hello, after = _hello(heard.lines, number)
            before = [*before, *heard.lines][-MOST_BEFORE_COUNT:]
        self._refuse_unfit(hello)
        self._read_ns = heard.t_ns
        self._session = BoardSession(hello, self._wiring, order=self._order, begun_ns=heard.t_ns)
        self._session.recall(before[: len(before) - len(after)])
        for line in after:
            self._session.hear(line, heard.t_ns)

    def _refuse_unfit(self, hello: Hello) -> None:
        where = f"{self.name}: {self._port}: "
        if hello.protocol != PROTOCOL:
            raise DriverError(
                f"{where}firmware {hello.firmware} {hello.version} speaks version {hello.protocol} of the protocol; "
                f"version {PROTOCOL} is wanted; flash the firmware of this program (hardware/firmware/README.md)"
            )
        missing = {gate: i for i, gate in self._wiring.gates.items() if i >= hello.gates_count}
        if missing:
            listed = ", ".join(f"{gate} = {i}" for gate, i in missing.items())
            raise DriverError(
                f"{where}gates: found {listed}, but this board has the numbers 0 to {hello.gates_count - 1}; "
                "name one of these, or add the pin to the firmware"
            )

    def _pump(self, session: BoardSession) -> None:
        """Ask if it is time to, and take in what has come."""
        now_ns = time.monotonic_ns()
        question = session.ask(now_ns)
        if question is not None:
            self._line.write(question)
        heard = self._line.read()
        self._read_ns = heard.t_ns
        for line in heard.lines:
            session.hear(line, heard.t_ns)
        session.tick(heard.t_ns)

    def records(self, stop: Stop) -> Iterator[Told]:
        """Edges, silence and trouble until `stop` is set; a board that goes is waited for."""
        session: BoardSession | None = self._the_session()
        if time.monotonic_ns() - self._read_ns > STALE_NS:
            session = None
        gone_ns = self._order.last_ns if session is None and self._has_spoken else None
        self._has_spoken = True
        while not stop.is_set():
            try:
                if session is None:
                    yield from _until(stop, self._greet())
                    if stop.is_set():
                        return
                    session = self._the_session()
                    if gone_ns is not None:
                        yield self._fault(
                            "the board is back; what its beams saw meanwhile is lost", "run again", gone_ns
                        )
                        gone_ns = None
                self._pump(session)
                yield from session.take()
            except (LineGoneError, SessionOverError, DriverError) as error:
                yield from self._farewell(session, error, is_news=gone_ns is None)
                gone_ns = self._order.last_ns if gone_ns is None else gone_ns
                session = None
                if not isinstance(error, SessionOverError):
                    self._line.close()
                yield from _until(stop, self._wait_for_port())

    def _fault(self, what: str, cure: str, since_ns: int) -> Fault:
        return Fault(self._order.stamp(0), self.name, what, cure, since_ns=since_ns)

    def _farewell(self, session: BoardSession | None, error: Exception, *, is_news: bool) -> Iterator[Told]:
        """What was still waiting, and what has happened; of a port that stays away only once."""
        if session is not None:
            session.finish()
            yield from session.take()
        self._session = None
        since_ns = self._order.last_ns
        if isinstance(error, SessionOverError):
            yield self._fault(error.what, error.cure, since_ns)
        elif is_news and isinstance(error, LineGoneError):
            yield self._fault(f"the port has gone: {error}", "plug the board in again; it is waited for", since_ns)
        elif str(error) != self._told:
            self._told = str(error)
            yield self._fault(self._told, "it is tried again until it works", since_ns)

    def _wait_for_port(self) -> Iterator[Quiet | None]:
        """Until the port is open again. Silence is told meanwhile: what happens now is lost."""
        while not self._line.is_open:
            yield None
            now_ns = time.monotonic_ns()
            yield from self._order.quiet(now_ns, self.name)
            if now_ns - self._tried_ns > TRY_AGAIN_NS:
                self._tried_ns = now_ns
                with contextlib.suppress(DriverError):
                    self._line.open()
                    return
            time.sleep(QUIET_S)

    def self_test(self) -> list[Finding]:
        """Whether the board answers, how well its clock is known, and where its gates stand; listens for a second."""
        session = self._the_session()
        end_ns = time.monotonic_ns() + TEST_NS
        try:
            if time.monotonic_ns() - self._read_ns > STALE_NS:
                for _ in self._greet():
                    pass
                session = self._the_session()
            while time.monotonic_ns() < end_ns or (not session.is_ready and time.monotonic_ns() < end_ns + TEST_NS / 2):
                self._pump(session)
        except (LineGoneError, SessionOverError, DriverError) as error:
            return [Finding(f"board {self.name}", "wrong", str(error), "plug it in again, then begin anew")]
        return _findings(self.name, self._wiring, session, self._line.has_low_latency)


def _until(stop: Stop, told: Iterator[Quiet | None]) -> Iterator[Quiet]:
    """The same without its pauses, until `stop` is set."""
    for quiet in told:
        if stop.is_set():
            return
        if quiet is not None:
            yield quiet


def _hello(lines: tuple[bytes, ...], number: int) -> tuple[Hello | None, tuple[bytes, ...]]:
    """The board's answer to the greeting of this number, and the lines that came after it."""
    for index, line in enumerate(lines):
        try:
            said = board_lines.parse(line)
        except ValueError:
            continue
        if isinstance(said, Hello) and said.session == number:
            return said, lines[index + 1 :]
    return None, ()


def _channels(gates: Mapping[str, Any], name: str) -> dict[int, str]:
    """Number at the board -> name of the gate."""
    mistakes = [] if gates else ["gates: found none, wanted at least one, such as { start = 0 }"]
    found: dict[int, str] = {}
    for gate, index in gates.items():
        if type(index) is not int or not 0 <= index < MOST_GATES_COUNT:
            mistakes.append(f"gates.{gate}: found {index!r}, wanted a whole number from 0 to {MOST_GATES_COUNT - 1}")
        elif index in found:
            mistakes.append(f"gates.{gate}: found {index}, which {found[index]} has already; wanted one each")
        else:
            found[index] = gate
    if mistakes:
        raise ConfigError(f'rig.toml (driver of "{name}")', mistakes)
    return found


def _findings(name: str, wiring: Wiring, session: BoardSession, has_low_latency: bool) -> list[Finding]:
    hello, fit = session.hello, session.clock.fit
    part = f"board {name}"
    if fit is None:
        return [Finding(part, "wrong", "it answers too seldom for its clock to be known", "check its cable")]
    answers = (
        f"firmware {hello.firmware} {hello.version} answers; best round trip {fit.least_round_trip_ns / 1e6:.2f} ms"
        f"{', port set to low latency' if has_low_latency else ''}"
    )
    slow = fit.u_ns > SLOW_U_NS
    ppm = session.clock.rate_ppm
    odd = abs(ppm) > ODD_PPM
    clock = (
        f"its stamps are good to ±{2 * fit.u_ns / 1e6:.2f} ms (k = 2); its clock runs {ppm:+.0f} ppm against this "
        f"computer's, scatter {fit.residual_ns / 1e6:.3f} ms"
    )
    cure = (
        "use a board with USB of its own, on a port of its own"
        if slow
        else "give the board a better clock"
        if odd
        else ""
    )
    found = [
        Finding(part, "well", answers),
        Finding(f"clock of {name}", "doubtful" if slow or odd else "well", clock, cure),
    ]
    return found + [_gate_finding(gate, index, wiring, session) for index, gate in sorted(wiring.gates.items())]


def _gate_finding(gate: str, index: int, wiring: Wiring, session: BoardSession) -> Finding:
    part, level = f"gate {gate}", session.levels[index]
    if level == wiring.blocked_level:
        cure = "clear the beam, aim it anew, or turn blocked_is round"
        return Finding(part, "doubtful", "its beam is blocked", cure)
    if not session.has_changed[index]:
        what = "its beam is clear; it has never been seen blocked since the board was switched on"
        return Finding(part, "doubtful", what, "put a hand into the beam and look again")
    return Finding(part, "well", "its beam is clear; it has been seen both blocked and clear")
