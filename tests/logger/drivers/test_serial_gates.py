"""The driver against the real firmware: truth is known, for the board runs on the same computer's clock."""

from __future__ import annotations

import random
import signal
import threading
import time
from collections.abc import Callable, Iterator
from itertools import islice, pairwise
from pathlib import Path
from typing import Any

import pytest

from logger.drivers import open_driver
from logger.drivers.board_lines import EdgeLine, Hello, Mark, written
from logger.drivers.interface import SelfTesting
from logger.drivers.serial_gates import SerialGates
from logger.errors import ConfigError, DriverError
from logger.records import ClockDoubt, Edge, Fault
from tests.hardware.board import INTERPRETERS, Board, Happened

GATES = {"start": 0, "end": 1}
LATE_NS = 60_000
"""What the firmware admits (late_us); half of it is taken off each stamp."""


def driver_of(board: Board, **options: Any) -> SerialGates:
    driver = open_driver("serial_gates", {"port": str(board.port), "gates": GATES} | options, name="gates")
    assert isinstance(driver, SerialGates)
    return driver


class Ear:
    """Listens to a driver in a thread, as the loop does."""

    def __init__(self, driver: SerialGates) -> None:
        self.records: list[Any] = []
        self._driver, self._stop, self._news = driver, threading.Event(), threading.Condition()
        self._thread = threading.Thread(target=self._listen)
        self._thread.start()

    def _listen(self) -> None:
        for record in self._driver.records(self._stop):
            with self._news:
                self.records.append(record)
                self._news.notify_all()

    def wait_for(self, kind: type, count: int, words: str = "") -> list[Any]:
        """Until so many of this kind have come, a fault with these words in it."""

        def found() -> list[Any]:
            return [r for r in self.records if isinstance(r, kind) and words in getattr(r, "what", "")]

        with self._news:
            assert self._news.wait_for(lambda: len(found()) >= count, 20), (found()[-3:], self.records[-3:])
            return found()

    def wait_until(self, t_ns: int) -> None:
        """Until silence has been told up to then."""
        with self._news:
            assert self._news.wait_for(lambda: bool(self.records) and self.records[-1].t_ns >= t_ns, 20)

    def close(self) -> None:
        self._stop.set()
        self._thread.join(5)
        assert not self._thread.is_alive()


@pytest.fixture
def board(tmp_path: Path) -> Iterator[Board]:
    with Board(tmp_path) as board:
        yield board


@pytest.fixture
def ear(board: Board) -> Iterator[Ear]:
    with driver_of(board) as driver:
        ear = Ear(driver)
        try:
            yield ear
        finally:
            ear.close()


def u_at(records: list[Any], edge: Edge) -> int:
    return [r.u_ns for r in records[: records.index(edge)] if isinstance(r, ClockDoubt)][-1]


def waved(board: Board, count: int) -> list[Happened]:
    return [board.edge(k % 2, k // 2 % 2) for k in range(count)]


def check_order(records: list[Any]) -> None:
    for before, after in pairwise(records):
        assert after.t_ns > before.t_ns
    assert max(after.t_ns - before.t_ns for before, after in pairwise(records)) <= 100_000_000


def check_stamps(records: list[Any], edges: list[Edge], made: list[Happened]) -> None:
    """Every edge, in order, and its stamp in its bracket to within 2 u; and what is called u is no idle figure."""
    assert [(e.gate, e.blocked) for e in edges] == [(("start", "end")[m.gate], m.level == 1) for m in made]
    held = [
        m.before_ns - 2 * u_at(records, e) <= e.t_ns <= m.after_ns + 2 * u_at(records, e)
        for e, m in zip(edges, made, strict=True)
    ]
    assert sum(held) == len(held)


@pytest.mark.parametrize("interpreter", INTERPRETERS)
def test_a_thousand_edges_come_complete_in_order_and_in_their_brackets(tmp_path: Path, interpreter: str | None) -> None:
    with Board(tmp_path, micropython=interpreter) as board, driver_of(board) as driver:
        ear = Ear(driver)
        made: list[Happened] = []
        while len(made) < 1000:
            made += waved(board, 40)
            ear.wait_for(Edge, len(made))
        ear.close()
    edges = ear.wait_for(Edge, 1000)
    assert [e.count for e in edges] == list(range(1000))
    check_stamps(ear.records, edges, made)
    check_order(ear.records)
    assert [r for r in ear.records if isinstance(r, Fault)] == []


@pytest.mark.parametrize("interpreter", INTERPRETERS)
def test_the_counter_goes_round_while_a_boat_runs(tmp_path: Path, interpreter: str | None) -> None:
    start_us = 2**30 - 1_500_000
    with Board(tmp_path, start_us=start_us, ppm=-80.0, micropython=interpreter) as board, driver_of(board) as driver:
        ear = Ear(driver)
        made: list[Happened] = []
        while not made or made[-1].after_ns - made[0].before_ns < 2_500_000_000:
            made.append(board.edge(0, (len(made) + 1) % 2))
            ear.wait_for(Edge, len(made))
        edges = ear.wait_for(Edge, len(made))
        check_stamps(ear.records, edges, made)
        ear.close()
        check_order(ear.records)


@pytest.mark.parametrize("ppm", [-5000.0, 5000.0])
def test_a_board_with_a_poor_clock_is_followed(tmp_path: Path, ppm: float) -> None:
    with Board(tmp_path, ppm=ppm) as board, driver_of(board) as driver:
        ear = Ear(driver)
        made: list[Happened] = []
        while len(made) < 24:
            made += waved(board, 4)
            ear.wait_for(Edge, len(made))
        check_stamps(ear.records, ear.wait_for(Edge, 24), made)
        ear.close()


def test_silence_is_told_from_the_boards_own_word(board: Board, ear: Ear) -> None:
    """While the board stands still nothing is promised; then it goes on, and no promise was broken."""
    made = [board.edge(0, 1)]
    ear.wait_for(Edge, 1)
    board.send(signal.SIGSTOP)
    stood_ns = time.monotonic_ns()
    assert not threading.Event().wait(0.5)
    assert ear.records[-1].t_ns <= stood_ns
    board.send(signal.SIGCONT)
    made.append(board.edge(0, 0))
    edges = ear.wait_for(Edge, 2)
    check_stamps(ear.records, edges, made)
    stamps = [record.t_ns for record in ear.records]
    assert stamps == sorted(set(stamps))


def test_unplugged_in_the_middle_it_says_so_waits_and_goes_on(board: Board, ear: Ear) -> None:
    made = waved(board, 10)
    ear.wait_for(Edge, 10)
    board.unplug()
    (gone,) = ear.wait_for(Fault, 1, "the port has gone")
    assert not gone.lasting
    assert gone.since_ns is not None
    ear.wait_until(gone.t_ns + 700_000_000)
    board.plug_in()
    (back,) = ear.wait_for(Fault, 1, "the board is back")
    assert back.since_ns <= gone.t_ns < back.t_ns - 700_000_000
    made += waved(board, 10)
    edges = ear.wait_for(Edge, 20)
    check_stamps(ear.records, edges, made)
    check_order(ear.records)
    assert [e.count for e in edges] == [*range(10), *range(10)]


def test_a_board_that_is_reset_is_greeted_anew(board: Board, ear: Ear) -> None:
    made = waved(board, 6)
    ear.wait_for(Edge, 6)
    board.reset()
    (anew,) = ear.wait_for(Fault, 1, "has begun anew")
    assert anew.since_ns is not None
    ear.wait_for(Fault, 1, "the board is back")
    made += waved(board, 6)
    check_stamps(ear.records, ear.wait_for(Edge, 12), made)
    check_order(ear.records)


def test_a_board_that_goes_still_is_told_and_waited_for(board: Board, ear: Ear) -> None:
    board.send(signal.SIGSTOP)
    (still,) = ear.wait_for(Fault, 1, "the board has fallen silent")
    board.send(signal.SIGCONT)
    ear.wait_for(Fault, 1, "the board is back")
    made = [board.edge(0, 1)]
    edges = [e for e in ear.wait_for(Edge, 1) if e.t_ns > still.t_ns]
    check_stamps(ear.records, edges, made)
    check_order(ear.records)


@pytest.mark.parametrize("trouble", [Board.switch_off, Board.unplug])
def test_it_stops_at_once_while_it_waits_for_the_board(
    board: Board, ear: Ear, trouble: Callable[[Board], None]
) -> None:
    trouble(board)
    (gone,) = ear.wait_for(Fault, 1)
    ear.wait_until(gone.t_ns + 300_000_000)
    asked_ns = time.monotonic_ns()
    ear.close()
    assert time.monotonic_ns() - asked_ns < 350_000_000  # 200 are promised; this machine may be busy


def test_garbage_is_survived_counted_and_never_becomes_an_edge(board: Board, ear: Ear) -> None:
    chance = random.Random(4)  # noqa: S311
    true = written(Hello(1, 1, "x", "1", 2, 30, 1000, 0, 0, 0, (False, False)))
    said_count, made = 0, []
    for round_index in range(200):
        noise = b""
        for _ in range(50):
            line = bytearray(chance.choice([chance.randbytes(30), true, b"E 1 0 0 1 1000 00000000"]))
            line[chance.randrange(len(line))] ^= 1 << chance.randrange(8)
            noise += b"\n" + bytes(line).replace(b"\n", b"~")
            said_count += 1
        board.say(noise + b"\n")
        if round_index % 10 == 0:
            made.append(board.edge(0, (len(made) + 1) % 2))
    made.append(board.edge(0, (len(made) + 1) % 2))
    ear.wait_until(made[-1].after_ns + 1_500_000_000)
    edges = [r for r in ear.records if isinstance(r, Edge)]
    lost = sum(int(r.what.split()[0]) for r in ear.records if isinstance(r, Fault) and "were lost" in r.what)
    told = [r for r in ear.records if isinstance(r, Fault) and "damaged or foreign" in r.what]
    assert len(edges) + lost == len(made)
    assert sum(int(r.what.split()[0]) for r in told) >= 0.98 * said_count
    assert len(told) <= (ear.records[-1].t_ns - ear.records[0].t_ns) / 1e9 + 1
    check_order(ear.records)
    by_number = dict(enumerate(made))
    check_stamps(ear.records, edges, [by_number[e.count] for e in edges])


def test_a_storm_that_the_board_cannot_keep_up_with_is_counted(board: Board, ear: Ear) -> None:
    board.edge(0, 1, count=5001)
    ear.wait_for(Fault, 1, "of them found no room in the board)")
    last = board.edge(1, 1)
    edges = ear.wait_for(Edge, 2)
    ear.wait_until(last.after_ns + 300_000_000)
    edges = [r for r in ear.records if isinstance(r, Edge)]
    lost = sum(int(r.what.split()[0]) for r in ear.records if isinstance(r, Fault))
    assert len(edges) + lost == 5002
    assert edges[-1].gate == "end"
    check_order(ear.records)


def test_a_reader_that_was_away_begins_anew_and_says_since_when(board: Board) -> None:
    with driver_of(board) as driver:
        stop = threading.Event()
        first = next(iter(driver.records(stop)))
        away = threading.Event()
        assert not away.wait(0.6)
        again = driver.records(stop)
        fault = next(record for record in islice(again, 200) if isinstance(record, Fault))
        assert "the board is back" in fault.what
        assert fault.since_ns is not None
        assert first.t_ns <= fault.since_ns
        again.close()


def test_its_self_test_speaks_of_board_clock_and_gates(board: Board) -> None:
    board.edge(0, 1)
    with driver_of(board) as driver:
        assert isinstance(driver, SelfTesting)
        found = {finding.part: finding for finding in driver.self_test()}
    assert list(found) == ["board gates", "clock of gates", "gate start", "gate end"]
    assert "firmware rp2040_gates 1.0 answers; best round trip 0." in found["board gates"].found
    assert "(k = 2); its clock runs +" in found["clock of gates"].found
    assert found["clock of gates"].health == "well"
    assert (found["gate start"].health, found["gate start"].found) == ("doubtful", "its beam is blocked")
    assert "never been seen blocked" in found["gate end"].found
    for level in (1, 0):
        board.edge(1, level)
    board.edge(0, 0)
    with driver_of(board) as driver:
        health = [finding.health for finding in driver.self_test()]
    assert health == ["well"] * 4


def test_a_self_test_without_a_board_says_what_is_wrong(board: Board) -> None:
    with driver_of(board) as driver:
        board.unplug()
        (finding,) = driver.self_test()
    assert finding.health == "wrong"
    assert finding.cure


def test_edges_during_the_self_test_are_not_lost(board: Board) -> None:
    with driver_of(board) as driver:
        thread = threading.Thread(target=driver.self_test)
        thread.start()
        made = waved(board, 4)
        thread.join()
        ear = Ear(driver)
        check_stamps(ear.records, ear.wait_for(Edge, 4), made)
        ear.close()


def test_two_drivers_cannot_have_one_board(board: Board) -> None:
    with (
        driver_of(board),
        pytest.raises(DriverError, match="another driver of this rig, has it open; one user is wanted"),
    ):
        driver_of(board).__enter__()


def test_a_gate_that_the_board_does_not_have_is_refused(board: Board) -> None:
    with pytest.raises(DriverError, match="gates: found far = 5, but this board has the numbers 0 to 1"):
        driver_of(board, gates={"start": 0, "far": 5}).__enter__()
    with driver_of(board, gates={"start": 0}):
        pass


@pytest.mark.parametrize(
    ("gates", "complaint"),
    [
        ({}, "found none, wanted at least one"),
        ({"start": 0, "end": 0}, "gates.end: found 0, which start has already"),
        ({"start": "0"}, "gates.start: found '0', wanted a whole number from 0 to 7"),
        ({"start": 8}, "gates.start: found 8, wanted a whole number from 0 to 7"),
        ({"start": True}, "gates.start: found True"),
    ],
)
def test_channels_are_checked(board: Board, gates: dict[str, Any], complaint: str) -> None:
    with pytest.raises(ConfigError, match=complaint):
        driver_of(board, gates=gates)


def test_records_are_asked_for_inside_with(board: Board) -> None:
    with pytest.raises(DriverError, match="the port is not open; use the driver inside `with`"):
        next(iter(driver_of(board).records(threading.Event())))


def answering(board: Board, hello: Hello) -> threading.Thread:
    """Somebody who answers the first greeting at the far end with this, in the firmware's place."""
    board.switch_off()

    def answer() -> None:
        greeting = b""
        while b"h " not in greeting or not greeting.endswith(b"\n"):
            greeting += board.hear()
        session = int(greeting.rpartition(b"h ")[2].split()[0])
        board.say(written(Hello(session, *[getattr(hello, name) for name in hello.__slots__[1:]])))

    thread = threading.Thread(target=answer)
    thread.start()
    return thread


@pytest.mark.parametrize("place", ["before", "behind"])
def test_an_edge_beside_the_answer_to_a_greeting_is_not_lost(board: Board, place: str) -> None:
    board.switch_off()
    over = threading.Event()

    def play() -> None:
        """A board that has an edge to tell as soon as it is greeted."""
        session, rest = 0, b""
        while not over.is_set():
            *lines, rest = (rest + board.hear()).split(b"\n")
            for kind, number, _ in (line.split(b" ") for line in lines if line):
                now_us = time.monotonic_ns() // 1000 % 2**30
                if kind == b"h" and place == "behind":
                    session = int(number)
                    hello = Hello(session, 1, "played", "1", 2, 30, 1000, 0, 0, 0, (False, False))
                    board.say(written(hello) + written(EdgeLine(session, 0, 0, 1, now_us)))
                elif kind == b"h":
                    edge = written(EdgeLine(session, 0, 0, 1, (now_us + 20_000) % 2**30))
                    session = int(number)
                    over.wait(0.03)
                    board.say(edge + written(Hello(session, 1, "played", "1", 2, 30, 1000, 0, 0, 1, (True, False))))
                else:
                    board.say(written(Mark(session, int(number), now_us, 1, (1, 0), 0)))

    player = threading.Thread(target=play)
    player.start()
    with driver_of(board) as driver:
        ear = Ear(driver)
        (edge,) = ear.wait_for(Edge, 1)
        over.set()  # a last ping wakes the player
        player.join()
        ear.close()
    assert (edge.gate, edge.blocked, edge.count) == ("start", True, 0)
    assert [r for r in ear.records if isinstance(r, Fault)] == []


def test_a_board_of_another_protocol_is_refused(board: Board) -> None:
    thread = answering(board, Hello(0, 2, "newer", "3.1", 2, 30, 1000, 0, 0, 0, (False, False)))
    with pytest.raises(DriverError, match=r"newer 3.1 speaks version 2 of the protocol; version 1 is wanted; flash"):
        driver_of(board).__enter__()
    thread.join()


def test_a_board_that_never_answers_a_ping_is_refused(board: Board) -> None:
    thread = answering(board, Hello(0, 1, "deaf", "1", 2, 30, 1000, 0, 0, 0, (False, False)))
    with pytest.raises(DriverError, match="has fallen silent"):
        driver_of(board).__enter__()
    thread.join()


def test_a_port_where_nothing_speaks_our_protocol_is_refused(board: Board) -> None:
    board.switch_off()
    with pytest.raises(DriverError, match=r"nothing has answered a greeting for 6 s; a board .* is wanted; flash our"):
        driver_of(board).__enter__()
