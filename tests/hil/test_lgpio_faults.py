"""The ways in which lgpio 0.2.2 goes deaf without a word. They are faults of the library, seen here in the library.

Our reader of lgpio has a guard for each. When one of these tests fails, the library was mended and its guard can go.
Each listens in a process of its own (deaf.py), and the edges are made here.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.hil.chip import Chip

pytestmark = [
    pytest.mark.hil,
    pytest.mark.skipif(sys.version_info >= (3, 13), reason="lgpio has no wheel for Python 3.13"),
]

DEAF = Path(__file__).with_name("deaf.py")
EDGES_COUNT = 6


class Listener:
    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process

    def heard(self) -> dict[str, int]:
        assert self.process.stdin is not None
        self.process.stdin.write("\n")
        self.process.stdin.flush()
        return dict(json.loads(self._line()))

    def _line(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline()

    def wait_until_ready(self) -> None:
        assert self._line() == "ready\n"


@contextmanager
def listening(chip: Chip, way: str) -> Iterator[Listener]:
    command = [sys.executable, str(DEAF), str(chip.number), way]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as process:
        listener = Listener(process)
        try:
            listener.wait_until_ready()
            yield listener
        finally:
            process.kill()


def move(chip: Chip, line: int, count: int = EDGES_COUNT) -> None:
    for number in range(count):
        chip.pull(line, number % 2 == 0)
        chip.settle(line)


def test_opened_once_and_left_alone_it_hears_every_edge_of_both_lines(chip: Chip) -> None:
    """The control: what the others show is not a fault of this set-up."""
    with listening(chip, "open") as listener:
        move(chip, 0)
        move(chip, 1)
        assert listener.heard() == {"first": EDGES_COUNT, "second": EDGES_COUNT}


def test_freeing_the_line_claimed_last_makes_the_other_one_deaf(chip: Chip) -> None:
    with listening(chip, "close_the_newest") as listener:
        move(chip, 0)
        assert listener.heard()["first"] == 0


def test_a_callback_that_raises_makes_every_line_deaf(chip: Chip) -> None:
    with listening(chip, "raise") as listener:
        move(chip, 1, 1)
        assert listener.heard() == {"first": 0, "second": 1}
        move(chip, 0, 1)
        assert listener.heard() == {"first": 1, "second": 1}
        move(chip, 0)
        move(chip, 1)
        assert listener.heard() == {"first": 1, "second": 1}


def test_a_callback_outlives_its_chip_and_is_called_for_the_next_owner_of_the_line(chip: Chip) -> None:
    with listening(chip, "keep_the_callback") as listener:
        move(chip, 0)
        heard = listener.heard()
        assert heard["first"] == EDGES_COUNT
        assert heard["second"] == 0


def test_of_edges_that_it_is_too_late_for_all_but_the_last_sixteen_are_gone(chip: Chip) -> None:
    with listening(chip, "open") as listener:
        move(chip, 0, 2)
        assert listener.heard()["first"] == 2
        os.kill(listener.process.pid, signal.SIGSTOP)
        os.waitid(os.P_PID, listener.process.pid, os.WSTOPPED)
        move(chip, 0, 40)
        os.kill(listener.process.pid, signal.SIGCONT)
        assert listener.heard()["first"] == 2 + 16
