from __future__ import annotations

import os
import termios
import threading
import time
from itertools import pairwise
from typing import Any

import pytest

from logger.drivers.keyboard_panel import KEYS, KeyboardOptions, KeyboardPanel
from logger.errors import DriverError
from logger.records import Key, Quiet
from tests.logger.drivers.keyboard_world import terminal


def keys(data: bytes, count: int) -> list[Any]:
    """The first `count` records that are no silence, of these letters through a pipe that stays open."""
    read, write = os.pipe()
    try:
        os.write(write, data)
        with KeyboardPanel(KeyboardOptions(read), name="keys") as panel:
            records = (r for r in panel.records(threading.Event()) if not isinstance(r, Quiet))
            return [next(records) for _ in range(count)]
    finally:
        os.close(read)
        os.close(write)


def test_each_letter_is_a_decision_and_others_are_none() -> None:
    assert [key.key for key in keys(b"a\nx G\xffsK", 4)] == ["arm", "go", "stop", "keep"]
    assert len(set(KEYS.values())) == len(KEYS)


def test_keys_pressed_together_have_times_of_their_own() -> None:
    found = keys(b"agsv", 4)
    assert all(isinstance(key, Key) for key in found)
    assert len({key.t_ns for key in found}) == 4


def test_a_key_is_stamped_between_pressing_and_reading() -> None:
    before_ns = time.monotonic_ns()
    (key,) = keys(b"a", 1)
    assert before_ns <= key.t_ns <= time.monotonic_ns()


def test_a_thread_that_was_not_let_run_leaves_no_hole_in_its_silence() -> None:
    """The loop gives up a source that has not spoken for long; a busy computer is no such source."""
    read, write = os.pipe()
    moments = iter([10**9, *(10**9 + step * 350_000_000 for step in range(1, 10))])
    try:
        with KeyboardPanel(KeyboardOptions(read), name="keys", clock=lambda: next(moments)) as panel:
            records = panel.records(threading.Event())
            stamps = [next(records).t_ns for _ in range(12)]
    finally:
        os.close(read)
        os.close(write)
    assert max(later - earlier for earlier, later in pairwise(stamps)) <= 100_000_000


def test_a_pipe_that_has_ended_is_silence_not_trouble() -> None:
    read, write = os.pipe()
    os.write(write, b"a")
    os.close(write)
    with KeyboardPanel(KeyboardOptions(read), name="keys") as panel:
        records = panel.records(threading.Event())
        told = [next(records) for _ in range(6)]
    os.close(read)
    assert [type(record) for record in told] == [Quiet, Key, *[Quiet] * 4]


def test_the_terminal_is_left_as_it_was() -> None:
    with terminal() as options:
        before = termios.tcgetattr(options["descriptor"])
        with KeyboardPanel(KeyboardOptions(**options), name="keys"):
            assert termios.tcgetattr(options["descriptor"]) != before
        assert termios.tcgetattr(options["descriptor"]) == before


def test_without_any_keyboard_it_says_so() -> None:
    with pytest.raises(DriverError, match="keys: there is no keyboard"):
        KeyboardPanel(KeyboardOptions(9999), name="keys").__enter__()
