"""One conversation with a board that is played by an independent model: loss, damage, order, the board's own word."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.drivers.board_lines import EdgeLine, Hello, Mark, parse, written
from logger.drivers.board_session import BoardSession, LastWord, SessionOverError, Wiring
from logger.records import ClockDoubt, Edge, Fault, Quiet

MS = 1_000_000
S = 1_000_000_000
BEGIN_NS = 40 * S
GATES = {0: "start", 1: "end"}
HELLO = Hello(5, 1, "model", "1", 2, 30, 1000, 0, 0, 0, (False, False))


@dataclass
class Talk:
    """A session and a board with a counter of 1 µs that runs true; a way of 50 to 150 µs."""

    hello: Hello = HELLO
    start_us: int = 1000
    blocked_level: int = 1
    damage: Callable[[bytes], list[bytes]] = lambda line: [line]
    chance: random.Random = field(default_factory=lambda: random.Random(1))  # noqa: S311

    def __post_init__(self) -> None:
        self.now_ns = BEGIN_NS
        order = LastWord()
        order.quiet(BEGIN_NS - MS, "gates")
        wiring = Wiring("gates", GATES, self.blocked_level)
        self.session = BoardSession(self.hello, wiring, order=order, begun_ns=self.now_ns)
        self.records: list[Any] = []
        self.number, self.levels, self.overflows, self.sign_ns = self.hello.next_number, [0, 0], 0, self.now_ns
        self.made: list[tuple[int, int, int]] = []
        self.answers = True

    def counter(self, at_ns: int) -> int:
        return (self.start_us + (at_ns - BEGIN_NS) // 1000) % 2**self.hello.counter_bits_count

    def hear(self, line: bytes, at_ns: int) -> None:
        for part in self.damage(line.removesuffix(b"\n")):
            self.session.hear(part, at_ns)

    def edge(self, gate: int, *, lost: bool = False, room: bool = True) -> None:
        self.levels[gate] = 1 - self.levels[gate]
        self.made.append((self.now_ns, gate, self.levels[gate]))
        said = EdgeLine(self.hello.session, self.number, gate, self.levels[gate], self.counter(self.now_ns))
        self.number = (self.number + 1) % 2**30
        self.overflows += not room
        if room and not lost:
            self.hear(written(said), self.now_ns + 80_000)
        self.now_ns += 20_000

    def mark(self, token: int | None, read_ns: int, heard_ns: int) -> None:
        levels = tuple(self.levels)
        said = Mark(self.hello.session, token, self.counter(read_ns), self.number, levels, self.overflows)
        self.hear(written(said), heard_ns)

    def step(self) -> None:
        """Five milliseconds."""
        asked = self.session.ask(self.now_ns)
        if asked is not None and self.answers:
            token = int(asked.split(b" ")[1])
            read_ns = self.now_ns + self.chance.randrange(50_000, 150_000)
            self.now_ns = read_ns + self.chance.randrange(50_000, 150_000)
            self.mark(token, read_ns, self.now_ns)
        if self.now_ns >= self.sign_ns:
            self.sign_ns += 50 * MS
            self.mark(None, self.now_ns, self.now_ns + 90_000)
        self.session.tick(self.now_ns)
        self.now_ns += 5 * MS
        self.records += self.session.take()

    def go_on(self, seconds: float) -> None:
        end_ns = self.now_ns + round(seconds * 1e9)
        while self.now_ns < end_ns:
            self.step()

    def of(self, kind: type) -> list[Any]:
        return [record for record in self.records if isinstance(record, kind)]


def test_a_beam_that_is_broken_from_the_beginning_is_told_and_has_an_edge_without_a_number() -> None:
    """Or the referee would let the run be armed with a beam that cannot trip."""
    talk = Talk()
    talk.levels[1] = 1
    talk.go_on(1.0)
    (edge,) = talk.of(Edge)
    assert (edge.gate, edge.blocked, edge.count) == ("end", True, None)
    assert BEGIN_NS < edge.t_ns < BEGIN_NS + 100 * MS
    assert ["gate end: the beam is broken already" in fault.what for fault in talk.of(Fault)] == [True]
    talk.edge(1)
    talk.go_on(0.5)
    assert [(edge.blocked, edge.count) for edge in talk.of(Edge)] == [(True, None), (False, 0)]


def test_a_gate_that_has_spoken_needs_no_such_edge() -> None:
    talk = Talk()
    talk.edge(0)
    talk.go_on(1.0)
    assert [(edge.gate, edge.blocked, edge.count) for edge in talk.of(Edge)] == [("start", True, 0)]


def test_edges_come_with_gate_state_number_and_time() -> None:
    talk = Talk()
    talk.go_on(0.5)
    for gate in (0, 1, 0, 1):
        talk.edge(gate)
        talk.go_on(0.2)
    edges = talk.of(Edge)
    assert [(e.gate, e.blocked, e.count) for e in edges] == [
        ("start", True, 0), ("end", True, 1), ("start", False, 2), ("end", False, 3)
    ]  # fmt: skip
    u_ns = talk.of(ClockDoubt)[-1].u_ns
    assert all(abs(e.t_ns - t_ns) <= 2 * u_ns < 0.4 * MS for e, (t_ns, _, _) in zip(edges, talk.made, strict=True))
    assert talk.of(Fault) == []


def test_an_edge_right_behind_an_answer_has_its_own_time() -> None:
    """The promise that an answer gives must not reach further than the board's own word."""
    talk = Talk()
    talk.go_on(1)
    for _ in range(20):
        asked = None
        while asked is None:
            talk.now_ns += MS
            asked = talk.session.ask(talk.now_ns)
        talk.mark(int(asked.split(b" ")[1]), talk.now_ns + 60_000, talk.now_ns + 120_000)
        talk.now_ns += 150_000
        talk.edge(0)
        talk.records += talk.session.take()
    talk.go_on(0.3)
    assert max(abs(e.t_ns - t_ns) for e, (t_ns, _, _) in zip(talk.of(Edge), talk.made, strict=True)) < 0.2 * MS
    assert talk.of(Fault) == []


def test_a_gate_whose_first_edges_came_before_the_first_mark_but_are_later_than_it_is_not_said_twice() -> None:
    """A mark's levels are read after its counter."""
    talk = Talk()
    talk.edge(1)
    talk.mark(None, BEGIN_NS - MS, talk.now_ns + 100_000)
    talk.go_on(1.0)
    assert [(edge.gate, edge.blocked, edge.count) for edge in talk.of(Edge)] == [("end", True, 0)]
    assert talk.of(Fault) == []


def test_edges_said_between_a_greeting_and_its_answer_count_if_they_happened_after_it() -> None:
    talk = Talk(hello=replace(HELLO, next_number=4), start_us=10_000)
    early = [
        written(EdgeLine(0, number, 0, number % 2, 10_000 + step)) for number, step in enumerate((-2000, 5, 400, 600))
    ]
    talk.session.recall(
        [b"noise", early[0].strip(), written(Mark(0, None, 1, 1, (0, 0), 0)).strip(), *map(bytes.strip, early[1:])]
    )
    talk.levels = [1, 0]
    talk.go_on(1.0)
    assert [(edge.count, edge.t_ns - BEGIN_NS) for edge in talk.of(Edge)] == [
        (1, pytest.approx(5_000, abs=50_000)),
        (2, pytest.approx(400_000, abs=50_000)),
        (3, pytest.approx(600_000, abs=50_000)),
    ]
    assert talk.of(Fault) == []


def test_edges_of_the_boards_life_before_are_not_recalled() -> None:
    talk = Talk(hello=replace(HELLO, next_number=1))
    talk.session.recall([written(EdgeLine(9, number, 1, 1, 1100)).strip() for number in (71, 72, 0)])
    talk.levels = [0, 1]
    talk.go_on(1.0)
    assert [(edge.gate, edge.count) for edge in talk.of(Edge)] == [("end", 0)]


def test_which_level_is_blocked_is_asked_of_the_rig() -> None:
    talk = Talk(blocked_level=0)
    talk.edge(0)
    talk.levels[1] = 1
    talk.go_on(0.5)
    assert [(e.gate, e.blocked) for e in talk.of(Edge)] == [("start", False)]


def test_an_edge_before_the_clock_is_known_waits_and_is_not_lost() -> None:
    talk = Talk()
    talk.edge(0)
    assert not talk.session.is_ready
    assert talk.session.take() == []
    talk.go_on(0.5)
    assert [e.gate for e in talk.of(Edge)] == ["start"]
    assert abs(talk.of(Edge)[0].t_ns - BEGIN_NS) < 0.3 * MS


def test_edges_wait_until_the_line_is_good_and_not_only_there() -> None:
    """A busy computer: two quick answers, the rest slow."""
    talk = Talk()
    fast, count = talk.chance, itertools.count()

    class Busy(random.Random):
        def randrange(self, *_: int) -> int:  # type: ignore[override]
            return 60_000 if next(count) in (6, 7) else 25 * MS

    talk.chance = Busy()
    talk.go_on(2)
    talk.edge(0)
    talk.go_on(0.3)
    assert talk.session.clock.fit is not None
    assert not talk.session.is_ready
    assert talk.records == []
    talk.chance = fast
    talk.go_on(1)
    assert talk.session.is_ready
    assert [abs(e.t_ns - t_ns) < 0.3 * MS for e, (t_ns, _, _) in zip(talk.of(Edge), talk.made, strict=True)] == [True]


@pytest.mark.parametrize("bits", [30, 32])
def test_the_counter_goes_round_without_a_trace(bits: int) -> None:
    talk = Talk(hello=replace(HELLO, counter_bits_count=bits), start_us=2**bits - 1_000_000)
    for _ in range(40):
        talk.go_on(0.05)
        talk.edge(0)
    talk.go_on(0.2)
    errors = [abs(e.t_ns - t_ns) for e, (t_ns, _, _) in zip(talk.of(Edge), talk.made, strict=True)]
    assert max(errors) < 0.2 * MS
    assert talk.of(Fault) == []


def test_the_numbers_of_edges_go_round_without_a_trace() -> None:
    talk = Talk(hello=replace(HELLO, next_number=2**30 - 2))
    for _ in range(4):
        talk.edge(0)
    talk.go_on(0.5)
    assert [e.count for e in talk.of(Edge)] == [2**30 - 2, 2**30 - 1, 0, 1]
    assert talk.of(Fault) == []


def test_a_lost_edge_is_told_with_the_time_since_when() -> None:
    talk = Talk()
    talk.go_on(1)
    before_ns = talk.now_ns
    talk.edge(0, lost=True)
    talk.go_on(0.3)
    (fault,) = talk.of(Fault)
    assert "1 edges were lost on their way" in fault.what
    assert before_ns - 101 * MS <= fault.since_ns <= before_ns
    assert before_ns < fault.t_ns < before_ns + 200 * MS
    assert not fault.lasting


def test_edges_without_room_in_the_board_are_told_as_such() -> None:
    talk = Talk()
    talk.go_on(1)
    talk.edge(0)
    for _ in range(7):
        talk.edge(0, room=False)
    talk.edge(1)
    talk.go_on(0.3)
    assert [e.gate for e in talk.of(Edge)] == ["start", "end"]
    assert [f.what for f in talk.of(Fault)] == ["7 edges were lost (7 of them found no room in the board)"]


def test_a_level_that_changed_without_an_edge_is_told_once() -> None:
    talk = Talk()
    talk.go_on(0.5)
    talk.levels[1] = 1
    talk.go_on(1)
    assert [f.what for f in talk.of(Fault)] == ["gate end: its level changed without an edge"]


def test_a_pin_that_is_no_gate_of_the_rig_may_do_what_it_likes() -> None:
    talk = Talk(hello=replace(HELLO, gates_count=3, changed=(False,) * 3))
    talk.levels = [0, 0, 1]
    talk.go_on(0.5)
    talk.edge(2)
    talk.go_on(0.5)
    talk.levels[2] = 1
    talk.go_on(0.5)
    assert talk.of(Edge) == []
    assert talk.of(Fault) == []


def test_damaged_lines_are_counted_and_told_at_most_once_a_second() -> None:
    talk = Talk()
    talk.go_on(0.5)
    chance = random.Random(2)  # noqa: S311
    for _ in range(1000):
        for _ in range(100):
            talk.session.hear(chance.randbytes(chance.randrange(1, 60)).replace(b"\n", b""), talk.now_ns)
        talk.step()
    seconds = (talk.now_ns - BEGIN_NS) / 1e9
    faults = talk.of(Fault)
    assert 3 <= len(faults) <= seconds
    talk.session.finish()
    faults += [r for r in talk.session.take() if isinstance(r, Fault)]
    told = sum(int(f.what.split()[0]) for f in faults)
    assert 99_000 <= told <= 100_000, "empty lines do not count"
    assert talk.of(Edge) == []


def test_a_board_that_begins_anew_ends_the_session() -> None:
    talk = Talk()
    talk.go_on(0.5)
    with pytest.raises(SessionOverError, match="begun anew"):
        talk.session.hear(written(replace(HELLO, session=0)).strip(), talk.now_ns)
    with pytest.raises(SessionOverError, match="begun anew"):
        talk.session.hear(written(Mark(0, None, 5, 0, (0, 0), 0)).strip(), talk.now_ns)


def test_a_counter_that_jumps_ends_the_session() -> None:
    talk = Talk()
    talk.go_on(0.5)
    talk.start_us += 100_000
    with pytest.raises(SessionOverError, match="counter has jumped"):
        talk.go_on(2)


def test_a_silent_board_and_one_that_does_not_listen_are_told_apart() -> None:
    talk = Talk()
    talk.go_on(0.5)
    talk.answers = False
    with pytest.raises(SessionOverError, match="speaks but answers nothing"):
        talk.go_on(3)
    talk = Talk()
    talk.go_on(0.5)
    talk.answers, talk.sign_ns = False, talk.now_ns + 100 * S
    with pytest.raises(SessionOverError, match="has fallen silent"):
        talk.go_on(3)


def test_a_reader_that_comes_late_is_no_silent_board() -> None:
    talk = Talk()
    talk.go_on(0.5)
    talk.now_ns += 10 * S
    talk.go_on(0.5)
    assert talk.records[-1].t_ns > BEGIN_NS + 10 * S


def test_what_waits_when_the_board_goes_still_leaves() -> None:
    talk = Talk()
    talk.go_on(0.5)
    talk.answers = False
    talk.edge(0)
    talk.go_on(0.2)
    assert talk.of(Edge) == []
    talk.session.finish()
    assert [r.gate for r in talk.session.take() if isinstance(r, Edge)] == ["start"]


def test_what_came_before_a_clock_was_known_is_told_as_lost_at_the_end() -> None:
    talk = Talk()
    talk.edge(0)
    talk.session.finish()
    (fault,) = talk.session.take()
    assert isinstance(fault, Fault)
    assert "1 edges came before the board's clock was known and are lost" in fault.what


def test_memory_is_bounded_while_nothing_can_leave() -> None:
    talk = Talk()
    for _ in range(25_000):
        talk.edge(0)
    assert len(talk.session._waiting) == 20_000
    talk.go_on(1)
    assert len(talk.of(Edge)) == 20_000
    assert any("5000 edges came faster than they could be placed" in f.what for f in talk.of(Fault))


def test_edges_of_two_gates_that_arrive_the_wrong_way_round_leave_in_order() -> None:
    talk = Talk()
    talk.go_on(0.5)
    counter = talk.counter(talk.now_ns)
    talk.hear(written(EdgeLine(5, 0, 1, 1, counter + 7)), talk.now_ns)
    talk.hear(written(EdgeLine(5, 1, 0, 1, counter)), talk.now_ns)
    talk.number, talk.levels = 2, [1, 1]
    talk.go_on(0.3)
    assert [(e.gate, e.count) for e in talk.of(Edge)] == [("start", 1), ("end", 0)]


def test_an_edge_that_is_later_than_the_last_answer_waits_for_the_next() -> None:
    talk = Talk()
    talk.go_on(0.5)
    asked = None
    while asked is None:
        talk.now_ns += MS
        asked = talk.session.ask(talk.now_ns)
    read_ns, counter = talk.now_ns + 60_000, talk.counter(talk.now_ns + 60_000)
    talk.hear(written(EdgeLine(5, 0, 1, 1, counter + 500)), read_ns + 600_000)
    talk.number, talk.levels = 1, [0, 1]
    talk.mark(int(asked.split(b" ")[1]), read_ns, read_ns + 700_000)
    talk.hear(written(EdgeLine(5, 1, 0, 1, counter + 200)), read_ns + 800_000)
    talk.number, talk.levels, talk.now_ns = 2, [1, 1], read_ns + 900_000
    talk.records += talk.session.take()
    assert talk.of(Edge) == []
    talk.go_on(0.3)
    assert [(e.gate, e.count) for e in talk.of(Edge)] == [("start", 1), ("end", 0)]
    assert talk.of(Fault) == []


def test_an_edge_that_the_board_had_called_over_is_kept_and_told() -> None:
    talk = Talk()
    talk.go_on(1)
    counter = talk.counter(talk.now_ns - 300 * MS)
    talk.hear(written(EdgeLine(5, 0, 0, 1, counter)), talk.now_ns)
    talk.number, talk.levels = 1, [1, 0]
    talk.go_on(0.3)
    assert len(talk.of(Edge)) == 1
    assert any("came after its time had been called over" in f.what for f in talk.of(Fault))


@pytest.mark.parametrize(
    "said",
    [
        EdgeLine(5, 2**30 - 1, 0, 1, 1000),  # was there before
        EdgeLine(5, 0, 2, 1, 1000),  # no such gate
        EdgeLine(5, 0, 0, 1, 2**30),  # no such counter
        Mark(5, None, 1000, 0, (0, 0, 0), 0),  # not our number of gates
    ],
)
def test_a_whole_line_that_cannot_be_true_is_left_out(said: EdgeLine | Mark) -> None:
    talk = Talk()
    talk.go_on(0.5)
    talk.session.hear(written(said).strip(), talk.now_ns)
    talk.go_on(1.5)
    assert [f.what for f in talk.of(Fault)] == ["1 damaged or foreign lines were left out"]
    assert talk.of(Edge) == []


def test_doubt_is_told_at_first_and_when_it_changes() -> None:
    talk = Talk()
    talk.go_on(10)
    told = [doubt.u_ns for doubt in talk.of(ClockDoubt)]
    assert 1 <= len(told) <= 5
    slow, fast = random.Random(3), talk.chance  # noqa: S311

    class Slow(random.Random):
        def randrange(self, *_: int) -> int:  # type: ignore[override]
            return slow.randrange(2_000_000, 2_100_000)

    talk.chance = Slow()
    talk.go_on(60)
    assert talk.of(ClockDoubt)[-1].u_ns > 5 * told[-1]
    talk.chance = fast
    talk.go_on(60)
    assert talk.of(ClockDoubt)[-1].u_ns < 1.6 * told[-1]
    assert "answers of the board, half a round trip" in talk.of(ClockDoubt)[-1].words


def test_a_wire_of_known_speed_is_not_taken_for_doubt() -> None:
    """17 bytes there and some 40 back at 115 200 bits a second are 5 ms of a round trip that are known."""
    slow = Talk(hello=replace(HELLO, wire_hz=115_200))
    talk = Talk()
    for one in (talk, slow):
        wire_ns = 86_806 if one is slow else 0
        for _ in range(40):
            asked = None
            while asked is None:
                one.now_ns += MS
                asked = one.session.ask(one.now_ns)
            read_ns = one.now_ns + wire_ns + 60_000
            answer = written(Mark(5, int(asked.split(b" ")[1]), one.counter(read_ns), 0, (0, 0), 0, 500))
            one.now_ns = read_ns + 500_000 + wire_ns * len(answer) + 60_000
            one.hear(answer, one.now_ns)
    assert talk.session.clock.fit is not None
    assert slow.session.clock.fit is not None
    assert talk.session.clock.fit.half_round_trip_ns == pytest.approx(60_000, abs=1000)
    assert 60_000 < slow.session.clock.fit.half_round_trip_ns < 60_000 + 0.06 * 45 * 86_806


@given(st.integers(0, 2**32), st.floats(0, 0.3), st.floats(0, 0.3))
def test_whatever_happens_to_lines_no_edge_is_invented_and_none_lost_in_silence(
    seed: int, damaged: float, doubled: float
) -> None:
    chance = random.Random(seed)  # noqa: S311

    def damage(line: bytes) -> list[bytes]:
        if chance.random() < damaged:
            text = bytearray(line)
            text[chance.randrange(len(text))] ^= 1 << chance.randrange(8)
            cut = chance.randrange(len(line))
            return chance.choice([[], [bytes(text)], [line[:cut]], [line[:cut], line[cut:]], [line[:cut] + line]])
        return [line] * (1 + (chance.random() < doubled))

    talk = Talk(damage=damage, chance=chance)
    for _ in range(40):
        talk.go_on(chance.choice([0.0, 0.01, 0.1]))
        talk.edge(chance.randrange(2))
    talk.damage = lambda line: [line]
    talk.go_on(1.2)

    edges = [edge for edge in talk.of(Edge) if edge.count is not None]  # others only say how a gate stood at first
    lost = sum(int(f.what.split()[0]) for f in talk.of(Fault) if "were lost" in f.what)
    assert len(edges) + lost == len(talk.made)
    truth = dict(enumerate(talk.made))
    for edge in edges:
        t_ns, gate, level = truth[edge.count]
        assert (edge.gate, edge.blocked) == (GATES[gate], level == 1)
        assert abs(edge.t_ns - t_ns) < 0.5 * MS
    stamps = [record.t_ns for record in talk.records]
    assert stamps == sorted(stamps)
    promised = max((q.t_ns for q in talk.of(Quiet)), default=0)
    for before, record in itertools.pairwise(talk.records):
        if not isinstance(record, Quiet):
            assert record.t_ns > before.t_ns
    assert promised > talk.now_ns - 200 * MS


def test_no_promise_goes_far_at_once_and_none_goes_back() -> None:
    word = LastWord()
    assert [q.t_ns for q in word.quiet(S, "g")][-1] == S
    assert word.quiet(S, "g") == []
    assert word.stamp(5) == S + 1
    assert word.stamp(3 * S) == 3 * S
    assert [q.t_ns for q in word.quiet(3 * S + 250 * MS, "g")] == [3 * S + n * MS for n in (100, 200, 250)]


def test_lines_are_what_a_board_would_say() -> None:
    """The model speaks through `written`, whose lines the document's examples are checked against."""
    assert parse(written(HELLO).strip()) == HELLO
