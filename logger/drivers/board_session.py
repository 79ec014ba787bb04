"""One conversation with a gate board, from its greeting to its end: lines in, records out.

What may live here: what was said and what follows from it. No port, no thread, no clock: each call is told the time.

- The board numbers its edges and says in each mark (answer or sign of life) which number is next, so that a line that
  was lost or damaged on its way is noticed within a twentieth of a second.
- A mark promises that every edge up to its counter has been sent before it. That is the whole ground for `Quiet`.
- Edges and marks wait for the next answer to a ping, then leave in the order of the counter, stamped by the line that
  this answer belongs to: their time is found between answers, not beyond them. Before there is a line, they wait.
"""

from __future__ import annotations

import contextlib
import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from logger.drivers import board_lines
from logger.drivers.board_clock import BoardClock, Exchange, Unwrapped
from logger.drivers.board_lines import NUMBERS, EdgeLine, Hello, Mark
from logger.records import ClockDoubt, Edge, Fault, Quiet

PING_NS = 60_000_000, 100_000_000
"""Shortest and longest time between two pings; spread evenly between, so that they meet every phase of the USB's own
timers."""
FIRST_PINGS_NS = 12_000_000, 22_000_000
"""The same while there is no line yet."""
UNANSWERED_NS = 2_000_000_000
"""A board that answers nothing for so long is given up."""
TELL_NS = 1_000_000_000
"""Damaged lines are told of at most this often."""
MOST_WAITING_COUNT = 20_000
"""More lines than these do not wait for their stamps."""
MOST_PINGS_COUNT = 64
"""More pings than these are not waited for."""
WIRE_SHARE = 0.95
"""A wire of n bits a second is taken to be at most this much faster than it says."""
SLACK_NS = 1_000_000
"""A `Quiet` stays behind the board's own word by this and four times u: the line moves a little with each answer."""
QUIET_NS = 100_000_000
"""No promise goes further at once."""
MOST_QUIETS_COUNT = 100
"""Save one that comes after a long time."""
GOLDEN = 0.6180339887498949
"""Multiples of this, without their whole part, fill 0 to 1 evenly."""


class SessionOverError(Exception):
    """The conversation has come to its end: why, and what to do."""

    def __init__(self, what: str, cure: str) -> None:
        self.what, self.cure = what, cure
        super().__init__(f"{what}; {cure}")


class LastWord:
    """Hands out stamps that never go back and never break a `Quiet`, over all sessions of one driver."""

    def __init__(self) -> None:
        self.last_ns = 0

    def stamp(self, t_ns: int) -> int:
        """`t_ns`, or the first moment after all that was said, if that is later."""
        self.last_ns = max(t_ns, self.last_ns + 1)
        return self.last_ns

    def quiet(self, t_ns: int, source: str) -> list[Quiet]:
        """A promise up to `t_ns`; none if that says nothing new."""
        if t_ns <= self.last_ns:
            return []
        first_ns = max(self.last_ns, t_ns - MOST_QUIETS_COUNT * QUIET_NS) + QUIET_NS
        self.last_ns = t_ns
        return [Quiet(step_ns, source) for step_ns in (*range(first_ns, t_ns, QUIET_NS), t_ns)]


@dataclass(frozen=True, slots=True)
class Wiring:
    """Which gates are at the board, and what their levels mean."""

    source: str
    gates: Mapping[int, str]
    """Index at the board -> name in the rig."""
    blocked_level: int
    """0 or 1."""


@dataclass(frozen=True, slots=True)
class _Gap:
    since_counter: int | None
    what: str
    cure: str


@dataclass(frozen=True, slots=True)
class _Blocked:
    gate: str


_Item: TypeAlias = EdgeLine | Mark | _Gap | _Blocked


class BoardSession:
    """One conversation with a gate board. Call `hear` with every line, `ask` and `tick` often, and take the records."""

    def __init__(self, hello: Hello, wiring: Wiring, *, order: LastWord, begun_ns: int) -> None:
        self.hello, self._wiring, self._order = hello, wiring, order
        self.clock = BoardClock(tick_ns=hello.tick_ns, late_ns=hello.late_us * 1000)
        self._is_ready = False
        self._whole = Unwrapped(hello.counter_bits_count)
        self._waiting: list[tuple[int, int, _Item]] = []
        self._heard_count = 0
        self._records: list[Edge | Quiet | Fault | ClockDoubt] = []
        self._pings: dict[int, int] = {}
        self._ping_count, self._next_ping_ns = 0, begun_ns
        self._spoke_ns = self._told_ns = begun_ns
        self._unanswered_ns: int | None = None
        self._next_number = hello.next_number
        self._sure_counter: int | None = None
        self._lost_count = self._garbage_count = self._unplaced_count = 0
        self._overflow_count: int | None = None
        self._told_u_ns: int | None = None
        self.levels: list[int | None] = [None] * hello.gates_count
        self.has_changed = list(hello.changed)
        self._still_since: int | None = None
        self._unheard: set[int] | None = set(self._wiring.gates)
        self._begins_ns = order.last_ns

    @property
    def is_ready(self) -> bool:
        """There is a good line: from now on records leave."""
        return self._is_ready

    def take(self) -> list[Edge | Quiet | Fault | ClockDoubt]:
        """The records since the last call, in order."""
        taken, self._records = self._records, []
        return taken

    def ask(self, now_ns: int) -> bytes | None:
        """A ping to be sent at once, if one is due."""
        if now_ns < self._next_ping_ns:
            return None
        self._ping_count += 1
        shortest_ns, longest_ns = PING_NS if self.is_ready else FIRST_PINGS_NS
        phase = self._ping_count * GOLDEN % 1
        self._next_ping_ns = now_ns + shortest_ns + round(phase * (longest_ns - shortest_ns))
        token = self._ping_count % NUMBERS
        self._pings[token] = now_ns
        if self._unanswered_ns is None:
            self._unanswered_ns = now_ns
        if len(self._pings) > MOST_PINGS_COUNT:
            del self._pings[next(iter(self._pings))]
        return board_lines.ping(token)

    def recall(self, lines: Sequence[bytes]) -> None:
        """Edges that were said between the greeting and its answer: those that happened after it was sent count."""
        edges: list[EdgeLine] = []
        number = self.hello.next_number
        for line in reversed(lines):
            with contextlib.suppress(ValueError):
                said = board_lines.parse(line)
                if isinstance(said, EdgeLine) and said.number == (number - 1) % NUMBERS:
                    number = said.number
                    edges.append(said)
        for edge in reversed(edges):
            with contextlib.suppress(ValueError):
                self._take_edge(edge, self._whole.whole(edge.counter))

    def hear(self, line: bytes, now_ns: int) -> None:
        """A line has come, without its end; `now_ns` is a moment after its last letter was there.

        Raises:
            SessionOverError: the board has begun anew, or its counter has jumped.
        """
        try:
            said = board_lines.parse(line)
            if said.session == self.hello.session and not isinstance(said, Hello):
                self._hear(said, self._whole.whole(said.counter), len(line) + 1, now_ns)
        except ValueError:
            self._garbage_count += bool(line.strip())
            return
        if said.session != self.hello.session:
            raise SessionOverError(
                "the board has begun anew", "check its plug and its supply; what it saw since is lost"
            )
        self._spoke_ns = now_ns
        if self.clock.has_jumped:
            raise SessionOverError("the board's counter has jumped", "if this comes again, change the board")

    def tick(self, now_ns: int) -> None:
        """Time has passed.

        Raises:
            SessionOverError: the board answers no more.
        """
        if self._garbage_count and now_ns - self._told_ns >= TELL_NS:
            self._tell_garbage(now_ns)
        if self._unanswered_ns is not None and now_ns - self._unanswered_ns > UNANSWERED_NS:
            if now_ns - self._spoke_ns > UNANSWERED_NS / 2:
                raise SessionOverError("the board has fallen silent", "check its plug and its supply")
            raise SessionOverError("the board speaks but answers nothing", "check the wire on which it listens")

    def finish(self) -> None:
        """Nothing more will come: let everything leave that waits. What has no time is told as lost."""
        if self._garbage_count:
            self._tell_garbage(self._told_ns)
        unplaced = sum(isinstance(item, EdgeLine) for _, _, item in self._waiting) + self._unplaced_count
        if self.is_ready:
            self._release(None)
        elif unplaced:
            self._tell(f"{unplaced} edges came before the board's clock was known and are lost", "run again")
        self._waiting, self._unplaced_count = [], 0

    def _tell(self, what: str, cure: str, *, t_ns: int = 0, since_ns: int | None = None) -> None:
        """Trouble, stamped as early as the order allows, or at `t_ns`."""
        stamp_ns = self._order.stamp(t_ns)
        self._records.append(Fault(stamp_ns, self._wiring.source, what, cure, since_ns=since_ns))

    def _tell_garbage(self, now_ns: int) -> None:
        what = f"{self._garbage_count} damaged or foreign lines were left out"
        self._tell(what, "use a short cable that lies away from motors; check the speed of the port")
        self._garbage_count, self._told_ns = 0, now_ns

    def _hear(self, said: EdgeLine | Mark, counter: int, length_bytes: int, now_ns: int) -> None:
        if isinstance(said, EdgeLine):
            self._hear_edge(said, counter)
        else:
            self._hear_mark(said, counter, length_bytes, now_ns)

    def _skip_to(self, number: int) -> None:
        """Edges before this number have come or are lost. ValueError: it lies behind."""
        step = (number - self._next_number) % NUMBERS
        if step >= NUMBERS // 2:
            raise ValueError("a number that was there before")
        self._lost_count += step
        self._next_number = number

    def _hear_edge(self, said: EdgeLine, counter: int) -> None:
        if said.gate_index >= self.hello.gates_count:
            raise ValueError("a gate that the board does not have")
        self._skip_to(said.number)
        self._next_number = (said.number + 1) % NUMBERS
        self._take_edge(said, counter)

    def _take_edge(self, said: EdgeLine, counter: int) -> None:
        self.has_changed[said.gate_index] = True
        self.levels[said.gate_index] = said.level
        if self._unheard is not None:
            self._unheard.discard(said.gate_index)
        self._push(counter, said)

    def _hear_mark(self, said: Mark, counter: int, length_bytes: int, now_ns: int) -> None:
        if len(said.levels) != self.hello.gates_count:
            raise ValueError("a number of gates that the board does not have")
        was_next = self._next_number
        self._skip_to(said.next_number)
        self._look_for_blocked(said, counter)
        self._look_for_losses(said, counter, was_next)
        self._push(counter, said)
        sent_ns = None if said.token is None else self._pings.pop(said.token, None)
        if sent_ns is not None:
            letter_ns = round(WIRE_SHARE * 10e9 / self.hello.wire_hz) if self.hello.wire_hz else 0
            back_ns = letter_ns * length_bytes + said.took * self.hello.tick_ns
            self.clock.add(Exchange(sent_ns + letter_ns, counter, now_ns - back_ns))
            self._unanswered_ns = None
            self._is_ready = self._is_ready or self.clock.is_good
            if self._is_ready:
                self._release(counter)

    def _look_for_blocked(self, said: Mark, counter: int) -> None:
        """A beam that is broken as the conversation begins has no edge to say so; nobody would refuse to arm.

        A mark's levels may be newer than its counter, but not newer than the edges that came before it.
        """
        unheard, self._unheard = self._unheard or set(), None
        for index in sorted(unheard):
            if said.levels[index] == self._wiring.blocked_level:
                self._push(counter, _Blocked(self._wiring.gates[index]))

    def _look_for_losses(self, said: Mark, counter: int, was_next: int) -> None:
        overflow = 0 if self._overflow_count is None else (said.overflow_count - self._overflow_count) % NUMBERS
        self._overflow_count = said.overflow_count
        differs = (index for index in self._wiring.gates if self.levels[index] not in (None, said.levels[index]))
        changed = [self._wiring.gates[index] for index in sorted(differs)]
        if self._lost_count:
            where = f" ({overflow} of them found no room in the board)" if overflow else " on their way"
            what = f"{self._lost_count} edges were lost{where}"
            self._push(
                counter, _Gap(self._sure_counter, what, "calm the beams: look for flicker, a loose wire, sunlight")
            )
        elif changed and self._still_since == said.next_number:
            what = f"gate {', '.join(changed)}: its level changed without an edge"
            self._push(counter, _Gap(self._sure_counter, what, "check its wire and its plug"))
        if self._lost_count or self._still_since == said.next_number or None in self.levels:
            self.levels = list(said.levels)
        self._still_since = said.next_number if was_next == said.next_number else None
        self._lost_count, self._sure_counter = 0, counter

    def _push(self, counter: int, item: _Item) -> None:
        self._heard_count += 1
        if len(self._waiting) < MOST_WAITING_COUNT:
            heapq.heappush(self._waiting, (counter, self._heard_count, item))
        else:
            self._unplaced_count += isinstance(item, EdgeLine)

    def _release(self, until_counter: int | None) -> None:
        """Everything up to this value of the counter leaves; all of it if None."""
        self._tell_doubt()
        while self._waiting and (until_counter is None or self._waiting[0][0] <= until_counter):
            counter, _, item = heapq.heappop(self._waiting)
            self._leave(counter, item)
        if self._unplaced_count:
            self._tell(f"{self._unplaced_count} edges came faster than they could be placed and are lost", "run again")
            self._unplaced_count = 0

    def _tell_doubt(self) -> None:
        fit, told = self.clock.fit, self._told_u_ns
        if fit is None or (told is not None and told / 1.5 < fit.u_ns < told * 1.1):
            return
        self._told_u_ns = fit.u_ns
        words = (
            f"{fit.answers_count} answers of the board, half a round trip {fit.half_round_trip_ns / 1000:.0f} µs, "
            f"scatter {fit.residual_ns / 1000:.0f} µs, board's clock {self.clock.rate_ppm:+.1f} ppm"
        )
        self._records.append(ClockDoubt(self._order.stamp(0), self._wiring.source, fit.u_ns, words))

    def _leave(self, counter: int, item: _Item) -> None:
        fit = self.clock.fit
        assert fit is not None  # noqa: S101 - nothing leaves before
        t_ns = fit.stamp_ns(counter)
        if isinstance(item, Mark) or t_ns - self._order.last_ns > QUIET_NS:
            self._records += self._order.quiet(t_ns - SLACK_NS - 4 * fit.u_ns, self._wiring.source)
        match item:
            case _Gap(since_counter=since, what=what, cure=cure):
                since_ns = self._order.last_ns if since is None else fit.stamp_ns(since)
                self._tell(what, cure, t_ns=t_ns, since_ns=since_ns)
            case _Blocked(gate=gate):
                self._tell_blocked(t_ns, gate)
            case EdgeLine() if item.gate_index in self._wiring.gates and t_ns > self._begins_ns:
                self._leave_edge(t_ns, item, allowed_ns=SLACK_NS + fit.u_ns)

    def _tell_blocked(self, t_ns: int, gate: str) -> None:
        cure = 'clear it; if nothing is in it, look at the sensor, its power and light, or turn "blocked_is" round'
        self._tell(f"gate {gate}: the beam is broken already as the board is heard", cure, t_ns=t_ns)
        self._records.append(Edge(self._order.stamp(t_ns), gate, True, self._wiring.source))

    def _leave_edge(self, t_ns: int, item: EdgeLine, *, allowed_ns: int) -> None:
        source, gate = self._wiring.source, self._wiring.gates[item.gate_index]
        stamp_ns = self._order.stamp(t_ns)
        blocked = item.level == self._wiring.blocked_level
        self._records.append(Edge(stamp_ns, gate, blocked, source, item.number))
        if stamp_ns - t_ns > allowed_ns:
            what = f"an edge of gate {gate} came after its time had been called over"
            self._tell(f"{what}; its stamp is {stamp_ns - t_ns} ns late", "report this board's firmware", since_ns=t_ns)
