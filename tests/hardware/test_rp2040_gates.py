"""The MicroPython firmware, heard and asked over its port without our driver."""

from __future__ import annotations

import os
import select
import zlib
from collections.abc import Iterator
from itertools import islice, pairwise
from pathlib import Path

import pytest

from tests.hardware.board import INTERPRETERS, Board

START_US = 7_000_000
WHO = ["1", "rp2040_gates", "1.0", "2", "30", "1000", "60", "0", "0", "00"]


class Port:
    """The host's end of the port, by hand: lines as lists of words, their checksum checked with zlib alone."""

    def __init__(self, path: Path) -> None:
        self.handle = os.open(path, os.O_RDWR | os.O_NOCTTY)
        self.rest = b""

    def say(self, text: str, *, damaged: bool = False) -> None:
        check = zlib.crc32(text.encode()) ^ damaged
        os.write(self.handle, f"{text} {check:08x}\n".encode())

    def lines(self) -> Iterator[list[str]]:
        while True:
            while b"\n" not in self.rest:
                assert select.select([self.handle], [], [], 10)[0], "the board says nothing"
                self.rest += os.read(self.handle, 4096)
            line, _, self.rest = self.rest.partition(b"\n")
            text, _, check = line.rpartition(b" ")
            assert check == b"%08x" % zlib.crc32(text)
            yield text.decode().split(" ")

    def next(self, kind: str) -> list[str]:
        for line in islice(self.lines(), 2000):
            if line[0] == kind:
                return line
        raise AssertionError(f"no line {kind} came")


@pytest.fixture(params=INTERPRETERS)
def interpreter(request: pytest.FixtureRequest) -> str | None:
    found: str | None = request.param
    return found


@pytest.fixture
def board(tmp_path: Path, interpreter: str | None) -> Iterator[Board]:
    with Board(tmp_path, start_us=START_US, ppm=0.0, micropython=interpreter) as board:
        yield board


@pytest.fixture
def port(board: Board) -> Iterator[Port]:
    port = Port(board.port)
    yield port
    os.close(port.handle)


def test_it_introduces_itself_at_its_start_and_when_greeted(port: Port) -> None:
    assert port.next("H") == ["H", "0", *WHO]
    port.say("h 77")
    assert port.next("H") == ["H", "77", *WHO]
    assert port.next("L")[1] == "77"


def test_it_gives_a_sign_of_life_every_50_ms(port: Port) -> None:
    counters = [int(port.next("L")[2]) for _ in range(11)]
    assert counters[0] >= START_US
    assert 500_000 <= counters[-1] - counters[0] < 5_000_000  # as a rule 501,000; this machine may be busy
    assert all(later - earlier >= 50_000 for earlier, later in pairwise(counters))


def test_edges_are_numbered_and_carry_level_and_counter(board: Board, port: Port) -> None:
    for gate, level in ((0, 1), (1, 1), (0, 0)):
        board.edge(gate, level)
    edges = [port.next("E") for _ in range(3)]
    assert [edge[1:5] for edge in edges] == [["0", "0", "0", "1"], ["0", "1", "1", "1"], ["0", "2", "0", "0"]]
    counters = [int(edge[5]) for edge in edges]
    assert counters == sorted(counters)
    mark = port.next("L")
    assert mark[3:] == ["3", "01", "0"]
    assert int(mark[2]) >= counters[-1]


def test_no_edge_comes_after_a_mark_that_is_later_than_it(board: Board, port: Port) -> None:
    """The promise on which silence rests, with edges at any moment of the main program."""
    port.say("h 5")
    port.next("H")
    promised, edges_count = -1, 0
    lines = (line for line in port.lines() if line[0] != "H")
    for token in range(300):
        board.edge(token % 2, token // 2 % 2)
        port.say(f"p {token}")
        for line in lines:
            if line[0] == "E":
                edges_count += 1
                assert int(line[5]) > promised
            else:
                promised = max(promised, int(line[3 if line[0] == "T" else 2]))
                assert int(line[4 if line[0] == "T" else 3]) == edges_count
            if line[:3] == ["T", "5", str(token)]:
                break
    assert edges_count >= 299


def test_a_ping_is_answered_with_its_token_and_what_it_took(port: Port) -> None:
    port.say("p 123456789")
    kind, session, token, counter, number, levels, overflows, took = port.next("T")
    assert (kind, session, token, number, levels, overflows) == ("T", "0", "123456789", "0", "00", "0")
    assert START_US < int(counter) < 2**30
    assert 0 <= int(took) < 100_000


def test_a_ping_is_stamped_when_its_first_letter_comes(port: Port) -> None:
    text = b"p 5 %08x\n" % zlib.crc32(b"p 5")
    os.write(port.handle, text[:1])
    port.next("L")
    meanwhile = int(port.next("L")[2])
    os.write(port.handle, text[1:])
    answer = port.next("T")
    assert int(answer[3]) < meanwhile
    assert int(answer[3]) + int(answer[7]) > meanwhile


def test_what_is_damaged_or_foreign_is_not_answered(port: Port) -> None:
    port.say("p 1", damaged=True)
    port.say("p x")
    port.say("q 2")
    os.write(port.handle, b"\n\xff\xfe\x00 \n" + b"p " * 500 + b"\n")
    port.say("p 3")
    assert port.next("T")[2] == "3"


def test_more_edges_than_there_is_room_for_are_counted(board: Board, port: Port) -> None:
    board.edge(0, 1, count=1000)
    numbers = [int(port.next("E")[2]) for _ in range(255)]
    assert numbers == list(range(255))
    mark = port.next("L")
    assert mark[3] == "1000"
    assert mark[5] == "745"
    board.edge(1, 1)
    assert port.next("E")[2:5] == ["1000", "1", "1"]


def test_a_pulse_that_is_over_before_the_interrupt_comes_is_two_edges(board: Board, port: Port) -> None:
    board.pulse(1)
    edges = [port.next("E") for _ in range(2)]
    assert [edge[2:5] for edge in edges] == [["0", "1", "1"], ["1", "1", "0"]]
    assert edges[0][5] == edges[1][5]


def test_its_counter_goes_round_at_two_to_the_thirtieth(tmp_path: Path, interpreter: str | None) -> None:
    with Board(tmp_path, start_us=2**30 - 200_000, ppm=0.0, micropython=interpreter) as board:
        port = Port(board.port)
        counters = [int(port.next("L")[2]) for _ in range(10)]
        os.close(port.handle)
    falls = [later - earlier for earlier, later in pairwise(counters) if later < earlier]
    assert len(falls) == 1
    assert 50_000 <= falls[0] + 2**30 < 5_000_000  # as a rule below 52,000; this machine may be busy


def test_it_remembers_which_gates_have_changed(board: Board, port: Port) -> None:
    board.edge(1, 1)
    port.next("E")
    port.say("h 9")
    assert port.next("H")[10:] == ["1", "01"]
