"""What is odd about a row of edges. A gate that lost edges, or went deaf, must never look like an empty tank.

What may live here: how each gate stood last, and what can follow from that. No clock, no device: times are handed in.

An edge is *lost* when its running number jumps. Edges *ran together* when the level is not what the number of changes
makes it: the kernel notes the time in its interrupt and reads the level a little later in a thread, so that of two
changes that come too fast one edge is left, with the later time and the present level, and without a jump. An edge was
*missed* when nothing comes though the level itself has changed: that is how a deaf reader is caught. A stamp that goes
back, lies ahead of now or before the opening belongs to another *clock*. An edge that is read *late* has a good stamp.
A beam that *flickers* is not broken by boats.

All this is said as `Fault` records, before the edge that it throws doubt on; `since_ns` to `t_ns` is the time in which
edges are missing or wrong. The first doubt is said at once; more of them within a tenth of a second are said together,
so that a storm of edges is no storm of words.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from logger.records import Fault

MISSED_AFTER_NS = 40_000_000
"""So long after its level changed an edge may still be under way: two looks, and the longest that a loaded computer was
seen to take (33 ms)."""
LATE_NS = 50_000_000
"""An edge read later than this after its stamp says that the computer is too busy."""
CLOCK_SLACK_NS = 1_000_000
"""A stamp may lie ahead by this: clocks of two processor cores differ (by 0.2 ms, as seen in a virtual machine)."""
FLICKER_COUNT = 100
"""More edges than this in a second are no boats: rigging makes some ten. (No source: common sense.)"""
FLICKER_NS = 1_000_000_000
TOGETHER_NS = 100_000_000
"""Doubts of one gate are said at most this often."""

Doubt: TypeAlias = Literal["clock", "missed", "lost", "ran together", "late"]

_CURES: Mapping[Doubt, str] = {
    "clock": "start the program anew, and report it if this comes again: these stamps cannot be used",
    "missed": "close and open the gates again, and if it comes again, start the program anew or take the other reader",
    "lost": "end other programs, and if the beam flickers, look at its sensor and its light",
    "ran together": "end other programs, and look at the sensor, its plug and its light: a clean signal is wanted",
    "late": "end other programs (the stamps themselves are good)",
}
"""In order of weight: of several doubts said together, the cure of the first."""


@dataclass(frozen=True, slots=True)
class RawEdge:
    """An edge as a reader got it."""

    gate: str
    blocked: bool
    t_ns: int
    read_ns: int
    """When it was read, by the one clock."""
    count: int | None = None
    """The gate's own running number, 1 for the first edge after the opening; None where there is none."""


@dataclass(frozen=True, slots=True)
class Seen:
    """How a gate stands, for a self-test."""

    blocked: bool
    ever_clear: bool
    ever_blocked: bool
    edges_count: int
    """Edges since the opening."""
    flickered_ns: int | None
    """When it was last seen to flicker."""
    is_doubtful: bool
    """Something was odd about its edges since the opening."""


class _Gate:
    """What is remembered of one gate, and the doubts not yet said."""

    def __init__(self, *, blocked: bool, opened_ns: int, looked_ns: int) -> None:
        self.blocked = blocked
        self.ever = {blocked}
        self.opened_ns = opened_ns
        self.looked_ns = looked_ns
        self.last_ns = opened_ns
        self.last_count = 0
        self.edges_count = 0
        self.agreed_ns = looked_ns
        self.unlike_since_ns: int | None = None
        self.recent: deque[int] = deque(maxlen=FLICKER_COUNT + 1)
        self.flickered_ns: int | None = None
        self.is_doubtful = False
        self.doubts: Counter[Doubt] = Counter()
        self.doubts_since_ns: int | None = None
        self.words = ""
        self.said_ns: int | None = None

    def known_ns(self, t_ns: int) -> int:
        """Up to when, before `t_ns`, the gate's edges are known to be whole."""
        agreed_ns = self.agreed_ns - LATE_NS  # an edge from just before that look may still have been under way
        return max(self.last_ns, agreed_ns) if agreed_ns < t_ns else self.last_ns


class EdgeWatch:
    """Shown every edge of some gates in the order of reading, and their levels from time to time."""

    def __init__(self, levels: Mapping[str, bool], *, source: str, opened_ns: int, looked_ns: int) -> None:
        """Begin with the levels found just after opening.

        Args:
            levels: gate -> blocked, read at `looked_ns`.
            source: name of the driver.
            opened_ns: from when on edges are stamped.
            looked_ns: edges stamped after this follow the `levels`; with one before it, nobody knows from which level.
        """
        self._source = source
        self._gates = {
            gate: _Gate(blocked=blocked, opened_ns=opened_ns, looked_ns=looked_ns) for gate, blocked in levels.items()
        }

    def edge(self, raw: RawEdge) -> tuple[list[Fault], bool]:
        """The next edge. Returns what is to be said before it, and whether its stamp can be believed.

        An edge whose stamp cannot be believed has no place among the others; a Fault tells of it.
        """
        gate = self._gates[raw.gate]
        is_believed = self._check_clock(gate, raw)
        at_ns = raw.t_ns if is_believed else raw.read_ns
        self._check_row(gate, raw, at_ns=at_ns)
        if raw.read_ns - at_ns > LATE_NS:
            self._doubt(gate, "late", since_ns=None)
        gate.blocked, gate.unlike_since_ns = raw.blocked, None
        gate.ever.add(raw.blocked)
        gate.edges_count += 1
        if raw.count is not None:
            gate.last_count = raw.count
        if is_believed:
            gate.last_ns = raw.t_ns
        is_late_only = not gate.doubts.keys() - {"late"}  # then it says nothing against this edge
        said = self._due(raw.gate, t_ns=raw.read_ns if is_late_only else at_ns, now_ns=raw.read_ns)
        return said + self._flicker(raw.gate, at_ns), is_believed

    def look(self, levels: Mapping[str, bool], *, looked_ns: int) -> list[Fault]:
        """The levels (gate -> blocked) as read at `looked_ns`, when no edge was left to be read."""
        said = []
        for name, blocked in levels.items():
            gate = self._gates[name]
            if blocked == gate.blocked:
                gate.unlike_since_ns, gate.agreed_ns = None, looked_ns
            elif gate.unlike_since_ns is None:
                gate.unlike_since_ns = looked_ns
            elif looked_ns - gate.unlike_since_ns >= MISSED_AFTER_NS:
                self._doubt(gate, "missed", since_ns=gate.known_ns(looked_ns))
                gate.blocked, gate.unlike_since_ns, gate.agreed_ns = blocked, None, looked_ns
                gate.ever.add(blocked)
            said += self._due(name, t_ns=looked_ns, now_ns=looked_ns)
        return said

    def rest(self, now_ns: int) -> list[Fault]:
        """What has not been said yet: the source comes to its end."""
        return [
            fault
            for name, gate in self._gates.items()
            if gate.doubts
            for fault in [self._say(name, t_ns=now_ns, now_ns=now_ns)]
        ]

    def seen(self, gate: str) -> Seen:
        """How that gate stands."""
        it = self._gates[gate]
        return Seen(it.blocked, False in it.ever, True in it.ever, it.edges_count, it.flickered_ns, it.is_doubtful)

    def _check_clock(self, gate: _Gate, raw: RawEdge) -> bool:
        if raw.t_ns > raw.read_ns + CLOCK_SLACK_NS:
            words = f"is stamped {_ms(raw.t_ns - raw.read_ns)} ahead of now"
        elif raw.t_ns < gate.opened_ns - CLOCK_SLACK_NS:
            words = f"is stamped {_ms(gate.opened_ns - raw.t_ns)} before the gates were opened"
        elif gate.edges_count and raw.t_ns <= gate.last_ns:
            words = f"is stamped {_ms(gate.last_ns - raw.t_ns)} before the edge before it"
        else:
            return True
        number = "" if raw.count is None else f"number {raw.count}, "
        level = "blocked" if raw.blocked else "clear"
        gate.words = gate.words or f"; an edge ({number}{level}, {raw.t_ns} ns) {words} and is left out"
        self._doubt(gate, "clock", since_ns=gate.last_ns)
        return False

    def _check_row(self, gate: _Gate, raw: RawEdge, *, at_ns: int) -> None:
        steps_count = 1 if raw.count is None else raw.count - gate.last_count
        if steps_count != 1:
            self._doubt(gate, "lost", since_ns=gate.last_ns, times=max(1, steps_count - 1))
        is_first_before_look = gate.edges_count == 0 and raw.t_ns <= gate.looked_ns
        if (raw.blocked != gate.blocked) != (steps_count % 2 == 1) and not is_first_before_look:
            self._doubt(gate, "ran together", since_ns=min(gate.known_ns(at_ns), at_ns))

    def _flicker(self, name: str, t_ns: int) -> list[Fault]:
        gate = self._gates[name]
        gate.recent.append(t_ns)
        span_ns = t_ns - gate.recent[0]
        if len(gate.recent) <= FLICKER_COUNT or span_ns > FLICKER_NS:
            return []
        if gate.flickered_ns is not None and t_ns - gate.flickered_ns < FLICKER_NS:
            return []
        gate.flickered_ns = t_ns
        what = f"gate {name}: the beam flickers, {FLICKER_COUNT} edges within {_ms(span_ns)}"
        cure = "keep sun and other lamps from the sensor, line up the beam, look at the plug"
        return [Fault(t_ns, self._source, what, cure, since_ns=gate.recent[0])]

    @staticmethod
    def _doubt(gate: _Gate, doubt: Doubt, *, since_ns: int | None, times: int = 1) -> None:
        gate.doubts[doubt] += times
        gate.is_doubtful |= doubt != "late"
        if since_ns is not None:
            gate.doubts_since_ns = since_ns if gate.doubts_since_ns is None else min(since_ns, gate.doubts_since_ns)

    def _due(self, name: str, *, t_ns: int, now_ns: int) -> list[Fault]:
        gate = self._gates[name]
        is_due = gate.said_ns is None or now_ns - gate.said_ns >= TOGETHER_NS
        return [self._say(name, t_ns=t_ns, now_ns=now_ns)] if gate.doubts and is_due else []

    def _say(self, name: str, *, t_ns: int, now_ns: int) -> Fault:
        gate = self._gates[name]
        kinds = [kind for kind in _CURES if gate.doubts[kind]]
        what = f"gate {name}: " + ", ".join(_words(kind, gate.doubts[kind]) for kind in kinds) + gate.words
        fault = Fault(t_ns, self._source, what, _CURES[kinds[0]], since_ns=gate.doubts_since_ns)
        gate.doubts, gate.doubts_since_ns, gate.words, gate.said_ns = Counter(), None, "", now_ns
        return fault


def _words(doubt: Doubt, count: int) -> str:
    edges = "1 edge" if count == 1 else f"{count} edges"
    return {
        "clock": f"{edges} stamped by another clock",
        "missed": f"the level changed without an edge{'' if count == 1 else f' ({count} times)'}",
        "lost": f"{edges} lost",
        "ran together": f"changes ran together into {edges}",
        "late": f"{edges} read more than {LATE_NS // 1_000_000} ms late",
    }[doubt]


def _ms(span_ns: int) -> str:
    return f"{span_ns / 1e6:.1f} ms"
