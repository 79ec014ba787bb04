"""What the kernel and libgpiod do with edges, before any code of ours: the ground that the gate driver stands on."""

from __future__ import annotations

import gpiod
import pytest
from gpiod.line import Clock, Direction, Edge

from tests.hil.chip import Chip

pytestmark = pytest.mark.hil

EDGES_COUNT = 200


def asked(buffer_count: int | None, *lines: int) -> dict[str, object]:
    settings = gpiod.LineSettings(direction=Direction.INPUT, edge_detection=Edge.BOTH, event_clock=Clock.MONOTONIC)
    return {"consumer": "test", "config": dict.fromkeys(lines, settings)} | (
        {"event_buffer_size": buffer_count} if buffer_count else {}
    )


def test_every_edge_is_stamped_by_the_monotonic_clock_while_its_line_moves(chip: Chip) -> None:
    with gpiod.request_lines(chip.path, **asked(1024, 0)) as request:
        high = False
        for number in range(1, EDGES_COUNT + 1):
            high = not high
            before_ns, after_ns = chip.pull(0, high)
            assert request.wait_edge_events(5.0), f"edge {number} did not come"
            (event,) = request.read_edge_events()
            assert before_ns <= event.timestamp_ns <= after_ns
            assert (event.event_type is event.Type.RISING_EDGE) == high
            assert event.line_seqno == number


def test_unread_edges_beyond_sixteen_are_lost_unless_more_room_is_asked_for(chip: Chip) -> None:
    """Linux, include/uapi/linux/gpio.h: event_buffer_size, "at least GPIO_V2_LINES_MAX * 16"; the oldest go first."""
    with (
        gpiod.request_lines(chip.path, **asked(None, 0)) as short,
        gpiod.request_lines(chip.path, **asked(1024, 1)) as long,
    ):
        for number in range(100):
            for line in (0, 1):
                chip.pull(line, number % 2 == 0)
                chip.settle(line)
        kept, every = drained(short), drained(long)
    assert [event.line_seqno for event in kept] == list(range(85, 101))
    assert [event.line_seqno for event in every] == list(range(1, 101))


def drained(request: gpiod.LineRequest) -> list[gpiod.EdgeEvent]:
    events: list[gpiod.EdgeEvent] = []
    while request.wait_edge_events(0):
        events += request.read_edge_events(1024)
    return events


def test_a_line_has_one_owner(chip: Chip) -> None:
    with gpiod.request_lines(chip.path, **asked(None, 0)), pytest.raises(OSError, match="busy"):
        gpiod.request_lines(chip.path, **asked(None, 0))
