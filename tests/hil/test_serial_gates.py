"""The serial gate driver on real ports of a kernel: two joined UARTs, and a USB adapter that is pulled out.

At the far end runs the real firmware, under CPython with a stand-in for the board (tests/hardware/stand_in).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.drivers.serial_gates import SerialGates, SerialGatesOptions
from logger.errors import DriverError
from logger.records import ClockDoubt, Edge
from tests.hardware.board import Happened
from tests.hil.cabled import CabledBoard
from tests.hil.hearing import Hearing, hearing
from tests.hil.lines import BEHIND_USB, PAIR, Adapter

pytestmark = pytest.mark.hil

EDGES_COUNT = 200
GATES = {"A": 0, "B": 1}


def gates(port: str | Path) -> SerialGates:
    return SerialGates(SerialGatesOptions(str(port), GATES), name="gates")


@pytest.fixture
def at_usb(adapter: Adapter, tmp_path: Path) -> Iterator[CabledBoard]:
    with CabledBoard(tmp_path, near=adapter.path, far=BEHIND_USB) as board:
        yield board


@pytest.fixture(params=["joined UARTs", "USB adapter"])
def board(request: pytest.FixtureRequest, adapter: Adapter, tmp_path: Path) -> Iterator[CabledBoard]:
    near, far = PAIR if request.param == "joined UARTs" else (adapter.path, BEHIND_USB)
    with CabledBoard(tmp_path, near=near, far=far) as made:
        yield made


def wave(board: CabledBoard, count: int) -> list[Happened]:
    """Break and clear both beams in turn."""
    return [board.edge(number % 2, 1 - number // 2 % 2) for number in range(count)]


def assert_all_there(heard: Hearing, edges: list[Edge], made: list[Happened]) -> None:
    """Each edge within what the driver says of its clock, four standard uncertainties wide."""
    assert [(edge.gate, edge.blocked) for edge in edges] == [(("A", "B")[it.gate], it.level == 1) for it in made]
    u_ns = max(doubt.u_ns for doubt in heard.records(ClockDoubt))
    for edge, it in zip(edges, made, strict=True):
        assert it.before_ns - 4 * u_ns <= edge.t_ns <= it.after_ns + 4 * u_ns
    print(f"\n{len(edges)} edges, 0 lost; standard uncertainty of the clock at most {u_ns / 1e6:.3f} ms")


def test_edges_of_a_board_come_through_with_the_boards_own_stamps(board: CabledBoard) -> None:
    with hearing(gates(board.port)) as heard:
        made = wave(board, EDGES_COUNT)
        edges = heard.until_edges(EDGES_COUNT)
    assert_all_there(heard, edges, made)
    assert heard.doubts == []


def test_noise_on_the_line_is_survived(board: CabledBoard) -> None:
    with hearing(gates(board.port)) as heard:
        made = wave(board, 4)
        heard.until_edges(4)
        board.say(b"\n" + os.urandom(2000) + b"\n")
        made += wave(board, 4)
        edges = heard.until_edges(8)
    assert_all_there(heard, edges, made)


def test_a_pulled_adapter_is_told_and_edges_come_again_when_it_is_back(at_usb: CabledBoard, adapter: Adapter) -> None:
    with hearing(gates(at_usb.port)) as heard:
        first = wave(at_usb, 4)
        heard.until_edges(4)
        adapter.unplug()
        gone = heard.until(lambda: heard.doubts, "a fault")[0]
        assert not gone.lasting
        adapter.plug_in()
        heard.until_fault("the board is back")
        second = wave(at_usb, 4)
        edges = heard.until_edges(8)
    assert_all_there(heard, edges, first + second)


def test_a_port_that_somebody_listens_to_is_refused_and_he_hears_on(board: CabledBoard) -> None:
    with hearing(gates(board.port)) as heard:
        with pytest.raises(DriverError, match=f"other: {board.port}: another program"):
            SerialGates(SerialGatesOptions(str(board.port), GATES), name="other").__enter__()
        wave(board, 4)
        heard.until_edges(4)


def test_a_port_without_a_board_is_refused() -> None:
    with pytest.raises(DriverError, match=f"gates: {PAIR[0]}: nothing has answered a greeting"):
        gates(PAIR[0]).__enter__()
