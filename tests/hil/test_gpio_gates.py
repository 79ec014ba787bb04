"""The gate driver on a real kernel: gpio-sim moves the lines, GpioGates reads them, the journal keeps them."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any

import gpiod
import pytest

from logger.drivers.gpio_gates import GpioGates, GpioGatesOptions
from logger.errors import DriverError
from logger.recording.folder import load
from logger.recording.journal import Journal
from logger.records import Edge, Fault, Quiet
from tests.hil.chip import Chip
from tests.hil.hearing import hearing
from tests.hil.rigs import CARD, RIG

pytestmark = pytest.mark.hil

EDGES_COUNT = 1200
BETWEEN_S = 0.0055
"""From edge to edge in the long row: each gate moves less often than a beam that flickers (100 times a second)."""
PINS = {"A": 0, "B": 1}
OPTIONS = GpioGatesOptions(PINS, blocked_is="high", pull="down", chip="tank")
LISTEN = Path(__file__).with_name("listen.py")
NOBODY = 65534
DAY_S = 86_400

needs_lgpio = pytest.mark.skipif(find_spec("lgpio") is None, reason="lgpio is not installed: no wheel for Python 3.13")
both_readers = pytest.mark.parametrize("reader", ["gpiod", pytest.param("lgpio", marks=needs_lgpio)])


def gates(reader: str = "gpiod", **changes: object) -> GpioGates:
    return GpioGates(replace(OPTIONS, reader=reader, **changes), name="gates")  # type: ignore[arg-type]


def move(chip: Chip, count: int, between_s: float = 0.004) -> list[tuple[str, bool, int, int]]:
    """Break and clear both beams in turn: (gate, blocked, before_ns, after_ns) of each move, both clear at the end."""
    assert count % 4 == 0
    moves = []
    pause = threading.Event()
    for number in range(count):
        gate, blocked = ("A", "B")[number % 2], number // 2 % 2 == 0
        moves.append((gate, blocked, *chip.pull(PINS[gate], blocked)))
        pause.wait(between_s)  # or the kernel's thread of the line has not had its turn, and makes one edge of two
    return moves


def assert_all_inside(edges: list[Edge], moves: list[tuple[str, bool, int, int]]) -> None:
    assert [(edge.gate, edge.blocked) for edge in edges] == [(gate, blocked) for gate, blocked, _, _ in moves]
    outside = [
        (edge, before_ns, after_ns)
        for edge, (_, _, before_ns, after_ns) in zip(edges, moves, strict=True)
        if not before_ns <= edge.t_ns <= after_ns
    ]
    assert outside == []


def test_a_thousand_edges_are_in_the_recording_each_stamped_while_its_line_moved(chip: Chip, tmp_path: Path) -> None:
    with hearing(gates()) as heard:
        moves = move(chip, EDGES_COUNT, BETWEEN_S)
        heard.until_edges(EDGES_COUNT)
    with Journal(tmp_path / "run-1", card=CARD, rig=RIG) as journal:
        for record in heard.records(Edge | Fault | Quiet):  # type: ignore[arg-type]
            journal.keep(record)
    recorded = list(load(tmp_path / "run-1").edges)
    assert_all_inside(recorded, moves)
    for gate in PINS:
        assert [edge.count for edge in recorded if edge.gate == gate] == list(range(1, EDGES_COUNT // 2 + 1))
    assert heard.doubts == []
    print(f"\n{EDGES_COUNT} edges recorded, 0 lost, 100 % inside the windows "
          f"(widest {max(after - before for *_, before, after in moves) / 1e6:.2f} ms)")  # fmt: skip


@both_readers
def test_a_step_of_the_wall_clock_changes_nothing(chip: Chip, reader: str) -> None:
    with hearing(gates(reader)) as heard, wall_clock_restored() as step:
        moves = []
        for step_s in (0, DAY_S, -3 * DAY_S):
            step(step_s)
            moves += move(chip, 8)
        edges = heard.until_edges(len(moves))
    assert_all_inside(edges, moves)
    assert heard.doubts == []


@contextmanager
def wall_clock_restored() -> Iterator[object]:
    begun_s, begun_monotonic_s = time.time(), time.monotonic()

    def step(by_s: float) -> None:
        before_s = time.time()
        time.clock_settime(time.CLOCK_REALTIME, before_s + by_s)
        assert abs(time.time() - before_s - by_s) < 60

    yield step
    time.clock_settime(time.CLOCK_REALTIME, begun_s + time.monotonic() - begun_monotonic_s)


@pytest.mark.parametrize(("reader", "times"), [("gpiod", 40), pytest.param("lgpio", 10, marks=needs_lgpio)])
def test_opened_again_and_again_it_is_never_deaf(chip: Chip, reader: str, times: int) -> None:
    driver = gates(reader)
    for _ in range(times):
        with hearing(driver) as heard:
            moves = move(chip, 4)
            edges = heard.until_edges(4)
        assert_all_inside(edges, moves)
        assert heard.doubts == []


@both_readers
def test_a_pin_that_somebody_has_is_refused_with_his_name(chip: Chip, reader: str) -> None:
    with (
        gpiod.request_lines(chip.path, consumer="a lamp", config={1: gpiod.LineSettings()}),
        pytest.raises(DriverError, match='gates: in use already: pin 1 by "a lamp"'),
    ):
        gates(reader).__enter__()
    with hearing(gates(reader)) as heard:
        move(chip, 4)
        heard.until_edges(4)


def test_without_permission_it_says_which_group_is_wanted(chip: Chip) -> None:
    os.seteuid(NOBODY)
    try:
        with pytest.raises(DriverError, match=rf"gates: may not open {chip.path}; .* group gpio"):
            gates().__enter__()
    finally:
        os.seteuid(0)


def test_without_a_chip_it_says_so() -> None:
    with pytest.raises(DriverError, match="no GPIO controller in /dev"):
        gates().__enter__()


def test_a_chip_that_is_taken_away_ends_in_a_lasting_fault(chip: Chip) -> None:
    with hearing(gates()) as heard:
        moves = move(chip, 4)
        heard.until_edges(4)
        chip.unplug()
        heard.until_over()
    assert_all_inside(heard.edges, moves)
    last = heard.records(Fault)[-1]
    assert last.lasting
    assert last.cure


@both_readers
def test_a_beam_that_is_broken_at_the_opening_is_told_at_once(chip: Chip, reader: str) -> None:
    chip.pull(0, True)
    with hearing(gates(reader, pull="none")) as heard:
        fault = heard.until_fault("gate A: the beam is broken already")
        edge = heard.until_edges(1)[0]
        _, after_ns = chip.pull(0, False)
        heard.until_edges(2)
    assert edge.blocked
    assert fault.t_ns <= edge.t_ns < after_ns
    assert "blocked_is" in fault.cure


def test_the_self_test_believes_a_gate_only_when_it_was_seen_both_ways(chip: Chip) -> None:
    with gates() as driver:
        assert {f.part: f.health for f in driver.self_test()} == {
            "gate reader": "well", "gate A": "doubtful", "gate B": "doubtful",
        }  # fmt: skip
        move(chip, 4)
        assert {f.health for f in driver.self_test()} == {"well"}
        chip.pull(1, True)
        assert {f.part: f.health for f in driver.self_test()}["gate B"] == "doubtful"


def test_a_storm_of_edges_is_counted_and_does_not_end_the_listening(chip: Chip) -> None:
    """As fast as the emulated machine can: every change is an edge, is counted as lost, or has run into another."""
    stormy_s = 1.5
    with hearing(gates()) as heard:
        ends_s, changes = time.monotonic() + stormy_s, 0
        while time.monotonic() < ends_s:
            chip.pull(0, changes % 2 == 0)
            changes += 1
        chip.pull(0, False)
        before_ns = time.monotonic_ns()
        heard.until_fault("flickers")
        heard.until_quiet(before_ns)
        stormed = [edge for edge in heard.edges if edge.gate == "A"]
        so_far = len(heard.edges)
        calm = move(chip, 8)
        heard.until_edges(so_far + len(calm))
    assert_all_inside([edge for edge in heard.edges if edge.t_ns > before_ns], calm)
    assert 0 < len(stormed) <= changes + 1
    stamps = [record.t_ns for record in heard.records(Edge | Fault | Quiet)]  # type: ignore[arg-type]
    assert stamps == sorted(stamps)
    assert max(b - a for a, b in pairwise(stamps)) <= 100_000_000
    print(f"\nstorm: {changes / stormy_s:.0f} changes a second, {len(stormed)} of {changes} came as edges, "
          f"{len(heard.doubts)} faults")  # fmt: skip


@contextmanager
def another(chip: Chip, reader: str, *words: str) -> Iterator[subprocess.Popen[str]]:
    """A program of its own that listens with the driver, ready when this returns."""
    command = [sys.executable, str(LISTEN), chip.label, reader, *words]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == "ready\n"
            yield process
        finally:
            process.kill()


def told(process: subprocess.Popen[str]) -> dict[str, Any]:
    """What it heard until now, when nothing more comes."""
    said, _ = process.communicate("\n", timeout=60)
    return dict(json.loads(said))


@pytest.mark.parametrize(("reader", "room_count"), [("gpiod", 1024), pytest.param("lgpio", 16, marks=needs_lgpio)])
def test_a_program_that_does_not_get_its_turn_knows_that_edges_were_lost(
    chip: Chip, reader: str, room_count: int
) -> None:
    """The kernel keeps so many edges; of more, the oldest go. lgpio does not see the numbers, only the odd level."""
    moves_count = room_count + 77
    with another(chip, reader) as process:
        os.kill(process.pid, signal.SIGSTOP)
        os.waitid(os.P_PID, process.pid, os.WSTOPPED)
        for number in range(moves_count):
            chip.pull(0, number % 2 == 0)
            chip.settle(0)
        os.kill(process.pid, signal.SIGCONT)
        heard = told(process)
    assert heard["edges"] == room_count
    wanted = f"gate A: {moves_count - room_count} edges lost" if reader == "gpiod" else "gate A: changes ran together"
    assert [what for what in heard["faults"] if what.startswith(wanted)], heard["faults"]


@needs_lgpio
def test_when_somebody_elses_callback_ends_lgpios_thread_the_gates_say_so_and_stop(chip: Chip) -> None:
    with another(chip, "lgpio", "sabotage", str(chip.number)) as process:
        chip.pull(5, True)
        heard = told(process)
    assert heard["is_over"]
    assert "lgpio's thread has ended, no edge comes any more" in heard["faults"]
