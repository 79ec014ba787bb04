"""The C firmware, cycle by cycle in simavr: every time below is known to one cycle of 62.5 ns."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import pytest

from logger.drivers.board_lines import Hello, parse
from logger.drivers.board_session import BoardSession, LastWord, Wiring
from logger.records import ClockDoubt, Edge, Fault
from tests.hardware.simulated_avr import BYTE_CYCLES, HZ, Built, LockStep, Script, build, sealed

TICK = 8
"""Cycles of one step of the counter."""
LATE_TICKS = 80
"""What the firmware admits: 40 µs."""
MS = HZ // 1000


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    return build(tmp_path_factory.mktemp("avr"))


def of(lines: Sequence[list[str]], kind: str) -> list[list[str]]:
    return [line for line in lines if line[0] == kind]


def offset_of(built: Built) -> int:
    """When the counter began, in ticks: a single edge of gate 0 with nothing else going on."""
    script = Script()
    script.level(8 * MS, 0, 1)
    (edge,) = of(script.run(built, 12 * MS), "E")
    return 8 * MS // TICK - int(edge[5])


def test_it_introduces_itself_and_answers_a_greeting(built: Built) -> None:
    script = Script()
    script.say(10 * MS, b"\n" + sealed("h 4711"))
    hellos = of(script.run(built, 40 * MS), "H")
    rest = ["1", "avr_gates", "1.0", "2", "32", "500", "40", "115200", "0", "00"]
    assert hellos == [["H", "0", *rest], ["H", "4711", *rest]]


def test_it_gives_a_sign_of_life_every_50_ms(built: Built) -> None:
    marks = of(Script().run(built, 1100 * MS), "L")
    counters = [int(mark[2]) for mark in marks]
    steps = [later - earlier for earlier, later in pairwise(counters)]
    assert len(steps) >= 20
    assert all(100_000 <= step <= 100_400 for step in steps)


def wave(script: Script, chance: random.Random, gate: int, count: int, gap_cycles: tuple[int, int]) -> list[int]:
    """Edges at any phase of the timer; the cycle of each."""
    cycle, cycles = 10 * MS + chance.randrange(1000), []
    for index in range(count):
        script.level(cycle, gate, 1 - index % 2)
        cycles.append(cycle)
        cycle += chance.randrange(*gap_cycles)
    return cycles


def chatter(script: Script, end_cycle: int) -> list[int]:
    """Pings all the time; the cycle at which each one's first letter began on the wire."""
    cycle, sent = 5 * MS, []
    while cycle < end_cycle:
        sent.append(script.say(cycle, sealed(f"p {len(sent)}")))
        cycle += 23 * MS + 1234
    return sent


def test_gate_0_is_stamped_to_the_step_whatever_else_goes_on(built: Built) -> None:
    """Input capture: the stamp does not depend on when the interrupt comes. Beside it gate 1 and the port are busy."""
    script, chance = Script(), random.Random(1)  # noqa: S311
    cycles = wave(script, chance, 0, 300, (4 * MS, 12 * MS))
    wave(script, chance, 1, 300, (4 * MS, 12 * MS))
    chatter(script, cycles[-1])
    lines = script.run(built, cycles[-1] + 100 * MS)
    edges = [edge for edge in of(lines, "E") if edge[3] == "0"]
    assert [edge[4] for edge in edges] == [str(1 - index % 2) for index in range(300)]
    offset = offset_of(built)
    errors = {int(edge[5]) + offset - cycle // TICK for edge, cycle in zip(edges, cycles, strict=True)}
    assert errors <= {-1, 0, 1}
    numbers = [int(edge[2]) for edge in of(lines, "E")]
    assert sorted(numbers) == list(range(600))
    assert of(lines, "L")[-1][3:] == ["600", "00", "0"]


def test_gate_1_is_stamped_by_its_interrupt_within_what_is_admitted(built: Built) -> None:
    script, chance = Script(), random.Random(2)  # noqa: S311
    cycles = wave(script, chance, 1, 400, (3 * MS, 9 * MS))
    for cycle in cycles[::2]:  # the worst: gate 0's interrupt begins at any moment around it
        script.level(cycle - 300 + chance.randrange(500), 0, 1)
        script.level(cycle + MS + chance.randrange(500), 0, 0)
    chatter(script, cycles[-1])
    edges = [edge for edge in of(script.run(built, cycles[-1] + 100 * MS), "E") if edge[3] == "1"]
    assert [edge[4] for edge in edges] == [str(1 - index % 2) for index in range(400)]
    offset = offset_of(built)
    late = [int(edge[5]) + offset - cycle // TICK for edge, cycle in zip(edges, cycles, strict=True)]
    assert min(late) >= 2, "an interrupt takes 4 cycles to be called and some more to save what it uses"
    assert max(late) <= LATE_TICKS
    assert sum(late) / len(late) < 12, "as a rule it is 3 µs late"


def test_no_edge_comes_after_a_mark_that_is_later_than_it(built: Built) -> None:
    script, chance = Script(), random.Random(3)  # noqa: S311
    cycles = wave(script, chance, 0, 300, (2 * MS, 9 * MS)) + wave(script, chance, 1, 300, (2 * MS, 9 * MS))
    chatter(script, max(cycles))
    promised = seen = 0
    for line in script.run(built, max(cycles) + 100 * MS):
        if line[0] == "E":
            seen += 1
            assert int(line[5]) > promised
        elif line[0] in "TL":
            promised = max(promised, int(line[2 if line[0] == "L" else 3]))
            assert int(line[3 if line[0] == "L" else 4]) == seen
    assert seen == 600


def test_a_ping_is_stamped_when_its_first_letter_is_there(built: Built) -> None:
    script = Script()
    sent = chatter(script, 900 * MS)
    answers = of(script.run(built, 1000 * MS), "T")
    assert [answer[2] for answer in answers] == [str(token) for token in range(len(sent))]
    offset = offset_of(built)
    for answer, cycle in zip(answers, sent, strict=True):
        on_wire = int(answer[3]) + offset - cycle // TICK
        assert -2 <= on_wire <= 2 * BYTE_CYCLES // TICK + LATE_TICKS
        assert int(answer[7]) < 20 * MS // TICK


def test_the_counter_goes_round_from_16_bits_to_32_without_a_trace(built: Built) -> None:
    """Timer 1 goes round every 32.8 ms; edges are put around that moment, to the cycle."""
    offset, script, cycles = offset_of(built), Script(), []
    for turn in range(1, 61):
        cycle = (turn * 65536 + offset) * TICK - 40 + turn
        script.level(cycle, 0, turn % 2)
        script.level(cycle + 3, 1, turn % 2)
        cycles.append(cycle)
    edges = of(script.run(built, cycles[-1] + 20 * MS), "E")
    for gate, most in (("0", 1), ("1", LATE_TICKS)):
        stamps = [int(edge[5]) for edge in edges if edge[3] == gate]
        assert len(stamps) == 60
        assert all(-1 <= at + offset - cycle // TICK <= most for at, cycle in zip(stamps, cycles, strict=True))


@pytest.mark.parametrize("gate", [0, 1])
@pytest.mark.parametrize("width_cycles", [8, 20, 40, 60, 80, 100, 130, 200, 400])
def test_a_short_pulse_is_two_edges(built: Built, gate: int, width_cycles: int) -> None:
    script = Script()
    starts = [10 * MS + index * (6 * MS + 37) for index in range(40)]
    for start in starts:
        script.level(start, gate, 1)
        script.level(start + width_cycles, gate, 0)
    lines = script.run(built, starts[-1] + 60 * MS)
    edges = of(lines, "E")
    assert [edge[4] for edge in edges] == ["1", "0"] * 40
    assert of(lines, "L")[-1][3:] == ["80", "00", "0"]
    offset = offset_of(built)
    for edge, start in zip(edges[::2], starts, strict=True):
        assert -1 <= int(edge[5]) + offset - start // TICK <= (1 if gate == 0 else LATE_TICKS)
    late = [int(e[5]) + offset - (start + width_cycles) // TICK for e, start in zip(edges[1::2], starts, strict=True)]
    assert min(late) >= -1
    assert max(late) <= LATE_TICKS
    if gate == 0 and width_cycles >= 130:
        assert min(late) <= 1, "captured too, once the capture has been turned"
    if gate == 0 and width_cycles >= 200:
        assert max(late) <= 1


def test_more_edges_than_there_is_room_for_are_counted(built: Built) -> None:
    script = Script()
    for index in range(300):
        script.level(10 * MS + index * 400, 0, 1 - index % 2)  # 40,000 a second
    script.level(500 * MS, 1, 1)
    lines = script.run(built, 620 * MS)
    edges = of(lines, "E")
    mark = of(lines, "L")[-1]
    assert mark[3] == "301"
    assert len(edges) + int(mark[5]) == 301
    assert int(mark[5]) > 200
    assert edges[-1][2:5] == ["300", "1", "1"]


def test_what_is_damaged_or_foreign_is_not_answered(built: Built) -> None:
    script, chance = Script(), random.Random(5)  # noqa: S311
    cycle = 10 * MS
    for _ in range(60):
        right = bytearray(sealed(f"p {chance.randrange(10**6)}")[:-1])
        right[chance.randrange(len(right))] ^= 1 << chance.randrange(8)
        noise = chance.choice([bytes(right), chance.randbytes(30), b"p " * 60]).replace(b"\n", b"~")
        script.say(cycle, noise + b"\n")
        cycle = script.said_until + 2 * MS
    script.say(cycle, sealed("p 999"))
    answers = of(script.run(built, cycle + 100 * MS), "T")
    assert [answer[2] for answer in answers] == ["999"]


def test_lines_that_come_faster_than_they_are_answered_are_dropped_whole(built: Built) -> None:
    script = Script()
    for token in range(30):
        script.say(max(10 * MS, script.said_until + MS // 2), sealed(f"p {token}"))
    script.say(script.said_until + 50 * MS, sealed("p 77"))
    answers = of(script.run(built, script.said_until + 100 * MS), "T")
    tokens = [int(answer[2]) for answer in answers]
    assert tokens[:2] == [0, 1], "one may wait while another is answered"
    assert tokens[-1] == 77
    assert len(tokens) < 31
    assert tokens == sorted(set(tokens))


@pytest.mark.parametrize(("ppm", "timer_ms"), [(50.0, 0.0), (-3000.0, 1.0), (800.0, 16.0)])
def test_a_session_with_it_stamps_every_edge_within_what_is_stated(built: Built, ppm: float, timer_ms: float) -> None:
    """Firmware and host in one simulated time: a wire of 115 200 bits a second, a bridge chip that hands on what it has
    when its timer strikes, a board whose clock runs fast or slow."""
    talk = Bridge(built, ppm=ppm, timer_ns=round(timer_ms * 1e6))
    with talk.board:
        talk.greet()
        for count in range(240):
            talk.edge(count % 2, 1 - count // 2 % 2)
            talk.go_on(7_000_000 + 1_234_567 * (count % 11))
        talk.go_on(300_000_000)
    edges = [record for record in talk.records if isinstance(record, Edge)]
    assert len(edges) == 240
    assert not [record for record in talk.records if isinstance(record, Fault)]
    held = 0
    for edge, (gate, level, t_ns) in zip(edges, talk.made, strict=True):
        u_ns = next(r.u_ns for r in reversed(talk.records[: talk.records.index(edge)]) if isinstance(r, ClockDoubt))
        assert (edge.gate, edge.blocked) == (("start", "end")[gate], level == 1)
        held += abs(edge.t_ns - t_ns) <= 2 * u_ns
    assert held >= 0.95 * 240
    assert u_ns <= (1 + timer_ms) * 1e6
    stamps = [record.t_ns for record in talk.records]
    assert stamps == sorted(stamps)


class Bridge:
    """A session of the host, the simulated board, and what is between them."""

    def __init__(self, built: Built, *, ppm: float, timer_ns: int) -> None:
        self.board, self._rate, self._timer_ns = LockStep(built), HZ * (1 + ppm * 1e-6) / 1e9, timer_ns
        self.now_ns = self._begin_ns = 10**15
        self.records: list[Any] = []
        self.made: list[tuple[int, int, int]] = []
        self._line = b""
        self._arriving: list[tuple[int, bytes]] = []
        self.session: BoardSession | None = None

    def cycle(self, t_ns: int) -> int:
        return 1000 + round((t_ns - self._begin_ns) * self._rate)

    def edge(self, gate: int, level: int) -> None:
        at_ns = self.now_ns + 456_789
        self.board.script.level(self.cycle(at_ns), gate, level)
        self.made.append((gate, level, at_ns))

    def greet(self) -> None:
        self.go_on(100_000_000)
        self.board.script.say(self.cycle(self.now_ns), sealed("h 7"))
        while self.session is None:
            self.go_on(1_000_000)

    def go_on(self, for_ns: int) -> None:
        end_ns = self.now_ns + for_ns
        while self.now_ns < end_ns:
            self._step()

    def _step(self) -> None:
        """A fifth of a millisecond."""
        if self.session is not None and (asked := self.session.ask(self.now_ns)) is not None:
            self.board.script.say(self.cycle(self.now_ns + 100_000) + BYTE_CYCLES, asked)
        self.now_ns += 200_000
        for cycle, byte in self.board.go_on(self.cycle(self.now_ns)):
            self._line += bytes([byte])
            if byte == 10:
                there_ns = self._begin_ns + round((cycle - 1000 + BYTE_CYCLES) / self._rate)
                if self._timer_ns:
                    there_ns += self._timer_ns - there_ns % self._timer_ns
                self._arriving.append((there_ns + 100_000, self._line[:-1]))
                self._line = b""
        while self._arriving and self._arriving[0][0] <= self.now_ns:
            self._hear(*self._arriving.pop(0))
        if self.session is not None:
            self.session.tick(self.now_ns)
            self.records += self.session.take()

    def _hear(self, at_ns: int, line: bytes) -> None:
        if self.session is not None:
            self.session.hear(line, at_ns)
        elif line.startswith(b"H 7 "):
            hello = parse(line)
            assert isinstance(hello, Hello)
            order, wiring = LastWord(), Wiring("gates", {0: "start", 1: "end"}, 1)
            order.stamp(at_ns - 1_000_000)
            self.session = BoardSession(hello, wiring, order=order, begun_ns=at_ns)
