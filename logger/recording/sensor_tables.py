"""What the sensors and people said, as it stands in frames.csv, edges.csv and events.csv."""

from __future__ import annotations

import re
from array import array
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from logger import settings
from logger.config import Rig
from logger.recording.tables import Columns, Doubt, Row, rows
from logger.records import ClockDoubt, Edge, Fault

FRAME_COLUMNS = Columns(("frame", "t_ns"), ("exposure_ns", "line_ns"))
EDGE_COLUMNS = Columns(("t_ns", "gate", "level"), ("count",))
EVENT_COLUMNS = Columns(("t_ns", "event"), ("source", "detail"))
VIDEO_ENDED = "video_ended"
"""The event with which our recorder says that it had to stop the video; stamps go on without pictures."""
CLOCK_DOUBT = "clock_doubt"
"""The event that says how well the stamps of a source with a clock of its own are known."""


@dataclass(frozen=True, slots=True)
class Event:
    """One line of events.csv: armed, go, ended, freed, void, note, fault ... with its detail in words."""

    t_ns: int
    event: str
    source: str = ""
    detail: str = ""


_FAULT = re.compile(r"^(?P<what>.*?)(?: \(since (?P<since>\d+) ns\))?; (?P<cure>[^;]*)$")
"""The words of a fault's event."""


def event_of_fault(fault: Fault) -> Event:
    """A fault as it stands in events.csv. Its cure is what follows the last semicolon, so the cure itself has none."""
    since = f" (since {fault.since_ns} ns)" if fault.since_ns is not None else ""
    return Event(fault.t_ns, "fault", fault.source, f"{fault.what}{since}; {fault.cure.replace(';', ',')}")


def read_fault(event: Event) -> Fault:
    """The fault that an event tells of; words of another form are all `what`."""
    found = _FAULT.match(event.detail)
    if found is None:
        return Fault(event.t_ns, event.source, event.detail, "")
    since = found["since"]
    return Fault(event.t_ns, event.source, found["what"], found["cure"], since_ns=int(since) if since else None)


def event_of_clock_doubt(doubt: ClockDoubt) -> Event:
    """A clock's doubt as it stands in events.csv."""
    return Event(doubt.t_ns, CLOCK_DOUBT, doubt.source, f"{doubt.u_ns / 1e9:.9f} {doubt.words}")


def read_clock_doubt(event: Event) -> ClockDoubt:
    """The clock's doubt that an event tells of; where it does not begin with a number of seconds below 1, it is 1 s."""
    first, _, words = event.detail.partition(" ")
    try:
        u_s = float(first)
    except ValueError:
        u_s, words = 1.0, event.detail
    return ClockDoubt(event.t_ns, event.source, round((u_s if 0 <= u_s < 1 else 1.0) * 1e9), words)


@dataclass(frozen=True, slots=True, eq=False)
class FrameStamps:
    """frames.csv: what counts for the time of each picture. Arrays (N,) int64, t_ns strictly increasing."""

    t_ns: NDArray[np.int64]
    exposure_ns: NDArray[np.int64]
    line_ns: NDArray[np.int64]

    def __post_init__(self) -> None:
        for column in (self.t_ns, self.exposure_ns, self.line_ns):
            column.setflags(write=False)

    def first(self, count: int) -> FrameStamps:
        """Only the first `count` of them."""
        return FrameStamps(self.t_ns[:count], self.exposure_ns[:count], self.line_ns[:count])


def read_stamps(path: Path, rig: Rig, doubt: Doubt, *, cut_short: bool = False) -> FrameStamps | None:
    """The stamps in frames.csv, exposure and row time from the rig where it has no such columns; None: no such file.

    Raises:
        InputError: they are not counted 0, 1, 2 ..., or time does not go forwards.
    """
    if not path.exists():
        return None
    camera = rig.camera
    exposure_ns, line_ns = (camera.exposure_ns, camera.line_ns) if camera else (0, 0)
    times, exposures, lines = array("q"), array("q"), array("q")
    for number, row in enumerate(rows(path, FRAME_COLUMNS, doubt, cut_short=cut_short)):
        if row.whole("frame") != number:
            raise row.refusal("frame", f"{number} (pictures are counted 0, 1, 2 ... as they stand in the video)")
        t_ns = row.whole("t_ns")
        if times and t_ns <= times[-1]:
            raise row.refusal("t_ns", f"more than {times[-1]}, the time of the line before (time goes forwards)")
        times.append(t_ns)
        exposures.append(_short_time(row, "exposure_ns", exposure_ns))
        lines.append(_short_time(row, "line_ns", line_ns))
    return FrameStamps(*(np.array(column, np.int64) for column in (times, exposures, lines)))


def _short_time(row: Row, column: str, default_ns: int) -> int:
    return row.whole(column, most=10**9) if row.cells.get(column, "") else default_ns


def read_edges(path: Path, rig: Rig, doubt: Doubt, *, cut_short: bool = False) -> tuple[Edge, ...]:
    """The edges in edges.csv in order of time; none without such a file.

    Args:
        path: The file.
        rig: Has the gates.
        doubt: Takes what is wrong but can be lived with.
        cut_short: Edges may stand in the order in which they arrived.

    Raises:
        InputError: an unknown gate, an edge twice, or time goes back.
    """
    if not path.exists():
        return ()
    gates = [gate.name for gate in rig.gates]
    source = rig.gates_driver.kind if rig.gates_driver else "gates"
    edges: list[Edge] = []
    last: dict[str, Edge] = {}
    for row in rows(path, EDGE_COLUMNS, doubt, cut_short=cut_short):
        edge = _edge(row, gates, source)
        before = last.get(edge.gate)
        if before and (before.t_ns, before.blocked) == (edge.t_ns, edge.blocked):
            raise row.refusal("t_ns", f"each edge once; {edge.gate} has this edge already")
        if edges and edge.t_ns < edges[-1].t_ns and not cut_short:
            raise row.refusal("t_ns", f"at least {edges[-1].t_ns}, the time of the line before (time goes forwards)")
        last[edge.gate] = edge
        edges.append(edge)
    return tuple(sorted(edges, key=lambda edge: edge.t_ns))


def _edge(row: Row, gates: list[str], source: str) -> Edge:
    gate = row.cells["gate"].strip()
    if gate not in gates:
        known = ", ".join(f'"{name}"' for name in gates) or "none: it has no gates"
        raise row.refusal("gate", f"the name of a gate in rig.toml ({known}){settings.near(gate, gates)}")
    count = row.whole("count") if row.cells.get("count", "") else None
    return Edge(row.whole("t_ns"), gate, row.whole("level", most=1) == 1, source, count)


COUNTED = ("cargo", "rings", "touches", "weights")
"""Events whose detail is a number of things that a person counted."""
MOST_COUNT = 10_000


def read_events(path: Path, doubt: Doubt, *, cut_short: bool = False) -> tuple[Event, ...]:
    """The events in events.csv in order of time; none without such a file. InputError if one has no name."""
    if not path.exists():
        return ()
    events = [_event(row) for row in rows(path, EVENT_COLUMNS, doubt, cut_short=cut_short)]
    return tuple(sorted(events, key=lambda event: event.t_ns))


def _event(row: Row) -> Event:
    cells = {name: text.strip() for name, text in row.cells.items()}
    if not cells["event"]:
        raise row.refusal("event", "a word such as go, note, freed")
    if cells["event"] in COUNTED:
        told = cells.get("detail", "")
        if not (told.isascii() and told.isdigit() and int(told) <= MOST_COUNT):
            column = "detail" if "detail" in row.cells else "event"
            raise row.refusal(column, f"in detail how many: a whole number from 0 to {MOST_COUNT}")
    return Event(row.whole("t_ns"), cells["event"], cells.get("source", ""), cells.get("detail", ""))
