"""Records -> signals: the few words that the referee's table understands.

What may live here: how each beam stands, the last positions of the boat. No clock, no thread, no file, and nothing of
the state of the run: what a signal means is for the table to say.

A beam says that its line is reached when it breaks, and keeps to it: a break counts from its first edge, but only once
it has lasted as long as a boat takes, by the same rule as in results/passages.py. The camera says so when the bow is
over the line; where a gate stands at the line, only when the stern is over it too, for then the gate has missed the
boat. These positions are quick ones from the live tracker: good enough to end a run, never used as a result.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, TypeAlias

from logger.config import Boat, Line, LineRole, Rig, Rules
from logger.records import Edge, Fix, Key, Record
from logger.vision.card import bow_share

SignalName: TypeAlias = Literal[
    "arm", "arm_blocked", "go", "stop",  # people
    "start", "mark", "finish",  # lines
    "slow", "moving", "wall", "clear_of_wall",  # the boat's own state
    "time_up", "rest_over", "wall_over", "no_more",  # the referee's own timers, and the end of all sources
]  # fmt: skip

SHORTEST_NS = 2_000_000
"""A pulse that is over sooner than this is no boat."""
ISOLATED_NS = 20_000_000
"""Breaks closer together than this are one pulse."""
SPEED_OVER_NS = 750_000_000
"""A live speed is that over this time: 3 mm of noise in each place become 3 mm/s at 30 pictures a second, below a stop
speed."""
UNSEEN_NS = 2_000_000_000
"""After so long unseen, where the boat was says nothing of how it came to where it is."""
MOVING_AGAIN = 1.5
"""A boat at rest moves again above this multiple of the stop speed, so that noise cannot restart the count."""
WAITS_OVER_MM, SETS_OFF_MM = 25.0, 4.0
"""A boat that waits right behind the start line may seem to be over it by so much; it starts when it goes farther."""
BESIDE_LINE = 0.1
"""A line counts this fraction of its length beyond its ends."""


@dataclass(frozen=True, slots=True)
class Signal:
    """Something happened that the table may have an opinion on."""

    t_ns: int
    name: SignalName
    words: str = ""


@dataclass(frozen=True, slots=True)
class _Pulse:
    """What one beam is going through."""

    gate: str
    since_ns: int
    last_ns: int
    blocked: bool
    counted: bool = False


@dataclass(frozen=True, slots=True)
class Crossline:
    """A line with the direction in which it is crossed."""

    role: LineRole
    a_mm: tuple[float, float]
    along_mm: tuple[float, float]
    normal: tuple[float, float]
    """Unit vector in the direction of travel."""
    by_stern: bool
    """Whether all of the boat has to be over it."""

    def ahead_mm(self, x_mm: float, y_mm: float) -> float:
        """How far a point is past the line; negative before it."""
        return (x_mm - self.a_mm[0]) * self.normal[0] + (y_mm - self.a_mm[1]) * self.normal[1]

    def is_beside(self, x_mm: float, y_mm: float) -> bool:
        """True if the point is not between the ends of the line."""
        length_mm2 = self.along_mm[0] ** 2 + self.along_mm[1] ** 2
        share = ((x_mm - self.a_mm[0]) * self.along_mm[0] + (y_mm - self.a_mm[1]) * self.along_mm[1]) / length_mm2
        return not -BESIDE_LINE <= share <= 1 + BESIDE_LINE


class Signals:
    """Watches the records of one run, in their settled order."""

    def __init__(self, *, rig: Rig, boat: Boat, rules: Rules) -> None:
        self._rules = rules
        self._outline_mm = rig.tank.outline_mm
        self._length_mm = boat.length_mm or 0.0
        self._usual_bow_mm = bow_share(boat)[0] * self._length_mm
        roles = {line.name: line.role for line in rig.lines}
        self._role_of_gate = {gate.name: roles[gate.line] for gate in rig.gates if gate.line in roles}
        self._lines = [crossline(line, rig=rig) for line in rig.lines]
        self._pulses: dict[str, _Pulse] = {}
        self._fixes: deque[Fix] = deque()
        self._waits_mm: dict[LineRole, float] = {}

    def feed(self, record: Record) -> list[Signal]:
        """What `record` says, in the words of the table; most records say nothing."""
        match record:
            case Edge():
                return self._edge(record)
            case Key():
                return self._key(record)
            case Fix(quality="measured"):
                return self._fix(record)
            case _:
                return []

    def due(self) -> list[tuple[int, Signal]]:
        """Signals that come true at a time, unless an edge before that time says otherwise: (time, signal)."""
        return [
            (pulse.since_ns + SHORTEST_NS, self._reached(pulse))
            for pulse in self._pulses.values()
            if pulse.blocked and not pulse.counted and pulse.gate in self._role_of_gate
        ]

    def come_true(self, signal: Signal) -> None:
        """One of those that were due has been taken."""
        for gate, pulse in self._pulses.items():
            if pulse.blocked and not pulse.counted and self._reached(pulse) == signal:
                self._pulses[gate] = replace(pulse, counted=True)
                return

    def _edge(self, edge: Edge) -> list[Signal]:
        pulse = self._pulses.get(edge.gate)
        if pulse is None or (not pulse.blocked and edge.t_ns - pulse.last_ns >= ISOLATED_NS):
            if edge.blocked:
                self._pulses[edge.gate] = _Pulse(edge.gate, edge.t_ns, edge.t_ns, blocked=True)
            return []
        long_enough = edge.t_ns - pulse.since_ns >= SHORTEST_NS
        counts = long_enough and not pulse.counted and edge.gate in self._role_of_gate
        counted = pulse.counted or long_enough
        self._pulses[edge.gate] = _Pulse(edge.gate, pulse.since_ns, edge.t_ns, edge.blocked, counted)
        return [self._reached(pulse)] if counts else []

    def _reached(self, pulse: _Pulse) -> Signal:
        return Signal(pulse.since_ns, self._role_of_gate[pulse.gate], f"beam {pulse.gate}")

    def _key(self, key: Key) -> list[Signal]:
        if key.key == "arm":
            blocked = sorted(pulse.gate for pulse in self._pulses.values() if pulse.blocked)
            if blocked:
                return [Signal(key.t_ns, "arm_blocked", f"the beam of {', '.join(blocked)} is blocked; clear it first")]
            return [Signal(key.t_ns, "arm")]
        if key.key == "go":
            return [Signal(key.t_ns, "go")]
        if key.key in ("stop", "void", "did_not_finish"):
            return [Signal(key.t_ns, "stop", key.key)]
        return []

    def _fix(self, fix: Fix) -> list[Signal]:
        before = self._fixes[-1] if self._fixes else None
        if before is not None and fix.t_ns - before.t_ns > UNSEEN_NS:
            before = None
        signals = [Signal(fix.t_ns, line.role, "camera") for line in self._lines if self._crossed(line, before, fix)]
        self._fixes.append(fix)
        speed = self._speed_mm_per_s()
        if before is None or (speed is not None and speed < self._rules.stop_speed_mm_per_s):
            self._wait(fix)
        if speed is not None and speed < self._rules.stop_speed_mm_per_s:
            signals.append(Signal(fix.t_ns, "slow"))
        elif speed is not None and speed > MOVING_AGAIN * self._rules.stop_speed_mm_per_s:
            signals.append(Signal(fix.t_ns, "moving"))
        signals.append(Signal(fix.t_ns, "wall" if self._at_wall(fix) else "clear_of_wall"))
        return signals

    def _speed_mm_per_s(self) -> float | None:
        """Of the straight line through the places of the last while; None until there is one."""
        fixes, now = self._fixes, self._fixes[-1]
        while len(fixes) > 1 and now.t_ns - fixes[1].t_ns >= SPEED_OVER_NS:
            fixes.popleft()
        if now.t_ns - fixes[0].t_ns < SPEED_OVER_NS:
            return None
        ago_s = [(one.t_ns - now.t_ns) * 1e-9 for one in fixes]
        middle_s = sum(ago_s) / len(ago_s)
        spread = sum((t - middle_s) ** 2 for t in ago_s)
        x, y = (
            sum((t - middle_s) * place for t, place in zip(ago_s, places, strict=True)) / spread
            for places in ([one.x_mm for one in fixes], [one.y_mm for one in fixes])
        )
        return math.hypot(x, y)

    def _wait(self, fix: Fix) -> None:
        """Note where a boat stands that seems to be over the start line by no more than what live positions are off."""
        for line in self._lines:
            over_mm = self._past_mm(line, fix)
            if line.role == "start" and not line.by_stern and 0 <= over_mm < WAITS_OVER_MM:
                self._waits_mm[line.role] = over_mm + SETS_OFF_MM

    def _past_mm(self, line: Crossline, fix: Fix) -> float:
        """How far the part of the boat that counts is past the line."""
        bow_mm = self._bow_mm(fix)
        return line.ahead_mm(fix.x_mm, fix.y_mm) + (bow_mm - self._length_mm if line.by_stern else bow_mm)

    def _bow_mm(self, fix: Fix) -> float:
        return self._usual_bow_mm if fix.bow_mm is None else fix.bow_mm

    def _crossed(self, line: Crossline, before: Fix | None, now: Fix) -> bool:
        """The line was crossed between two positions; a start line also if the boat is first seen beyond it.

        A live tracker sees a boat only when it has moved, and that may be late. At the other lines a first sight beyond
        is more likely something else, and would end the run.
        """
        least_mm = self._waits_mm.get(line.role, 0.0)
        if self._past_mm(line, now) < least_mm or line.is_beside(now.x_mm, now.y_mm):
            return False
        if before is None:
            return line.role == "start" and (line.by_stern or self._past_mm(line, now) >= WAITS_OVER_MM)
        return self._past_mm(line, before) < least_mm

    def _at_wall(self, fix: Fix) -> bool:
        heading, bow_mm = math.radians(fix.heading_deg), self._bow_mm(fix)
        bow = (fix.x_mm + bow_mm * math.cos(heading), fix.y_mm + bow_mm * math.sin(heading))
        return room_mm(self._outline_mm, bow) < self._rules.wall_margin_mm


def crossline(line: Line, *, rig: Rig) -> Crossline:
    """The line with the direction in which boats cross it."""
    along = (line.b_mm[0] - line.a_mm[0], line.b_mm[1] - line.a_mm[1])
    length = math.hypot(*along)
    normal = (along[1] / length, -along[0] / length)
    run = _direction(rig)
    if normal[0] * run[0] + normal[1] * run[1] < 0:
        normal = (-normal[0], -normal[1])
    by_stern = rig.gate_at(line.name) is not None
    return Crossline(role=line.role, a_mm=line.a_mm, along_mm=along, normal=normal, by_stern=by_stern)


def _direction(rig: Rig) -> tuple[float, float]:
    """From the start line to the line after it; +x where there is none."""
    start, target = rig.line("start"), rig.line("finish") or rig.line("mark")
    if start is None or target is None:
        return (1.0, 0.0)
    middles = [((line.a_mm[0] + line.b_mm[0]) / 2, (line.a_mm[1] + line.b_mm[1]) / 2) for line in (start, target)]
    return (middles[1][0] - middles[0][0], middles[1][1] - middles[0][1])


def room_mm(outline_mm: tuple[tuple[float, float], ...], point_mm: tuple[float, float]) -> float:
    """Distance from a point to the nearest wall of the anticlockwise convex or concave outline; negative outside."""
    x, y = point_mm
    inside, nearest = False, math.inf
    for (ax, ay), (bx, by) in pairwise((*outline_mm, outline_mm[0])):
        dx, dy = bx - ax, by - ay
        share = min(1.0, max(0.0, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy)))
        nearest = min(nearest, math.hypot(x - ax - share * dx, y - ay - share * dy))
        if (ay > y) != (by > y) and x < ax + (y - ay) * dx / dy:
            inside = not inside
    return nearest if inside else -nearest
