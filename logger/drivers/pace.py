"""Records whose stamps are known beforehand, told as if they were happening now.

Shared by the drivers that have the whole story already (recorded, simulated). Their stamps are their clock: between
records they say `Quiet` every 100 ms of it, from the beginning of the story to its end, so that gates, camera and
people of one story tell it alike.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias, TypeVar

from logger.drivers.interface import Stop
from logger.records import ClockDoubt, Edge, Fault, Frame, Key, Quiet

QUIET_EVERY_NS = 100_000_000
"""Of the story's own clock."""
LONGEST_WAIT_S = 0.05
"""How long a told story may be deaf to `stop`."""

Mode: TypeAlias = Literal["real_time", "fast"]
"""In the time that it takes · as fast as it can."""

Clock: TypeAlias = Callable[[], int]
Wait: TypeAlias = Callable[[float], None]

R = TypeVar("R", bound=Edge | Frame | Key | Fault | ClockDoubt)


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast a story is told, and by which clock."""

    mode: Mode = "fast"
    speed_ratio: float = 1.0
    """In real time: how many times faster."""
    clock: Clock = time.monotonic_ns
    wait: Wait = time.sleep


def quiets(name: str, *, since_ns: int, until_ns: int) -> Iterator[Quiet]:
    """The words of a source for a time in which nothing happened: none of the gaps between two stamps is too long."""
    return (Quiet(t_ns, name) for t_ns in range(since_ns + QUIET_EVERY_NS, until_ns, QUIET_EVERY_NS))


def tell(records: Iterable[R], *, name: str, span_ns: tuple[int, int], pace: Pace, stop: Stop) -> Iterator[R | Quiet]:
    """The records with a Quiet wherever nothing happens for long, until they end or `stop` is set.

    Args:
        records: in order of their stamps, all within the span and after its beginning.
        name: source name of the Quiets.
        span_ns: first and last moment of the story.
        pace: how fast.
        stop: asked before every record.
    """
    start_ns, end_ns = span_ns
    begun_ns, last_ns = pace.clock(), start_ns

    def is_due(t_ns: int) -> bool:
        while pace.mode == "real_time" and not stop.is_set():
            left_s = ((t_ns - start_ns) / pace.speed_ratio - (pace.clock() - begun_ns)) / 1e9
            if left_s <= 0:
                break
            pace.wait(min(left_s, LONGEST_WAIT_S))
        return not stop.is_set()

    def silence(until_ns: int) -> Iterator[Quiet]:
        for quiet in quiets(name, since_ns=last_ns, until_ns=until_ns):
            if not is_due(quiet.t_ns):
                return
            yield quiet

    yield Quiet(start_ns, name)
    for record in records:
        yield from silence(record.t_ns)
        if not is_due(record.t_ns):
            return
        yield record
        last_ns = record.t_ns
    yield from silence(end_ns)
    end_ns = max(end_ns, last_ns)
    if is_due(end_ns):
        yield Quiet(end_ns, name)
