"""The referee decides where a run stands: a table, looked up.

What may live here: the table, the state, deadlines. What it may not know: clocks, threads, files, pictures, results.
It is shown the records of one run in their settled order (settled.py) and told up to which time nothing is missing.
It never asks for the time: a deadline has passed when settled time has passed it.

The story of a straight run. It is *waiting*. Somebody arms it; this is refused while a beam is blocked. It is *armed*
until the boat reaches the start line, or until somebody says go, and then *released* until the boat starts. It is
*running* until the boat reaches the finish line, the time is up, or somebody stops it. Then it has *ended*, for a
reason. A run that starts on the word go goes back to waiting when the boat starts before the word.

The story of a drift run is the same up to the mark line. From there the boat is *drifting*. When it is slow it is *at
rest*, and after long enough the run has ended; when it moves again it is drifting again. When its bow touches a wall it
is *at the wall*, in the same way.

A course is a straight run with things in its way. In runs in which something is counted, and in those that ask how far
a boat gets in a fixed time, no line ends the run: the time does.

A pair (state, signal) that is not in the table changes nothing: chatter of a beam, a line crossed backwards, a key
pressed twice. When a record and a deadline have the same time, the record comes first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias, cast

from logger.config import Rig, RunCard
from logger.errors import InputError
from logger.recording.folder import Event
from logger.records import Record
from logger.results.trial import EndReason
from logger.station.signals import Signal, SignalName, Signals

State: TypeAlias = Literal["waiting", "armed", "released", "running", "drifting", "at_rest", "at_wall", "ended"]
Begin: TypeAlias = Literal["hands_off", "on_go"]
"""How a run begins: when the boat reaches the start line · on the word go, and not before it."""

NEVER_NS = 2**63
NAME = "referee"
"""Source of the referee's events."""


@dataclass(frozen=True, slots=True)
class Step:
    """What a signal does in a state."""

    to: State
    event: str = ""
    """Name of the event it makes, if any; on the way to `ended` it is the reason."""


Table: TypeAlias = Mapping[tuple[State, SignalName], Step]

_BEFORE: Table = {
    ("waiting", "arm"): Step("armed", "armed"),
    ("waiting", "arm_blocked"): Step("waiting", "arming_refused"),
    ("waiting", "no_more"): Step("ended", "recording_ended"),
    ("armed", "go"): Step("released", "released"),
    ("armed", "stop"): Step("waiting", "disarmed"),
    ("armed", "no_more"): Step("ended", "recording_ended"),
    ("released", "start"): Step("running", "started"),
    ("released", "stop"): Step("waiting", "disarmed"),
    ("released", "no_more"): Step("ended", "recording_ended"),
    ("running", "stop"): Step("ended", "stopped_by_hand"),
    ("running", "time_up"): Step("ended", "time_cap"),
    ("running", "no_more"): Step("ended", "recording_ended"),
}
_BEGIN: Mapping[Begin, Table] = {
    "hands_off": {("armed", "start"): Step("running", "started")},
    "on_go": {
        ("armed", "start"): Step("waiting", "early_start"),
        ("armed", "mark"): Step("waiting", "early_start"),
    },
}
_STRAIGHT: Table = {
    ("running", "finish"): Step("ended", "finish"),
}
_DRIFT: Table = {
    ("armed", "mark"): Step("drifting", "passed_mark"),  # a drift rig may have no start line, or its beam miss the boat
    ("released", "mark"): Step("drifting", "passed_mark"),
    ("running", "mark"): Step("drifting", "passed_mark"),
    ("drifting", "slow"): Step("at_rest"),
    ("drifting", "wall"): Step("at_wall"),
    ("at_rest", "moving"): Step("drifting"),
    ("at_rest", "wall"): Step("at_wall"),
    ("at_rest", "rest_over"): Step("ended", "at_rest"),
    ("at_wall", "clear_of_wall"): Step("drifting"),
    ("at_wall", "wall_over"): Step("ended", "wall"),
    ("drifting", "stop"): Step("ended", "stopped_by_hand"),
    ("at_rest", "stop"): Step("ended", "stopped_by_hand"),
    ("at_wall", "stop"): Step("ended", "stopped_by_hand"),
    ("drifting", "time_up"): Step("ended", "time_cap"),
    ("at_rest", "time_up"): Step("ended", "time_cap"),
    ("at_wall", "time_up"): Step("ended", "time_cap"),
    ("drifting", "no_more"): Step("ended", "recording_ended"),
    ("at_rest", "no_more"): Step("ended", "recording_ended"),
    ("at_wall", "no_more"): Step("ended", "recording_ended"),
}
_MOVING: frozenset[State] = frozenset(("running", "drifting", "at_rest", "at_wall"))

_KINDS: Mapping[str, Table] = {
    "straight": _STRAIGHT,
    "drift": _DRIFT,
    "course": _STRAIGHT,
    "cargo": {},
    "rings": {},
    "distance": {},
}
"""Kind of run -> what is its own in the table."""


def table_of(kind: str, begin: Begin = "hands_off") -> Table:
    """The whole table of a kind of run.

    Raises:
        InputError: the referee knows no rules for this kind.
    """
    if kind not in _KINDS:
        raise InputError(f'kind of run: found "{kind}"; the referee knows {", ".join(_KINDS)}; choose one of them')
    return {**_BEFORE, **_KINDS[kind], **_BEGIN[begin]}


def diagram(table: Table) -> str:
    """The table as the text of a Mermaid state diagram, for the documentation."""
    arrows = [f"    {state} --> {step.to}: {signal}" for (state, signal), step in table.items()]
    return "\n".join(["stateDiagram-v2", "    [*] --> waiting", *arrows, "    ended --> [*]"]) + "\n"


class Referee:
    """Follows one run through its table and says what happened."""

    def __init__(self, *, card: RunCard, rig: Rig, begin: Begin = "hands_off") -> None:
        self._table = table_of(card.kind, begin)
        self._signals = Signals(rig=rig, boat=card.boat, rules=card.rules)
        self._rest_ns, self._cap_ns = round(card.rules.stop_for_s * 1e9), round(card.rules.time_cap_s * 1e9)
        self._nothing_due_before_ns: int | None = None
        self._state: State = "waiting"
        self._entered_ns = 0
        self._moving_since_ns = 0
        self._end_reason: EndReason | None = None
        self._history: list[Event] = []

    @property
    def state(self) -> State:
        """Where the run stands."""
        return self._state

    @property
    def ended_ns(self) -> int | None:
        """When the run ended; None before that."""
        return self._entered_ns if self._state == "ended" else None

    @property
    def end_reason(self) -> EndReason | None:
        """Why the run ended; None before that."""
        return self._end_reason

    @property
    def history(self) -> tuple[Event, ...]:
        """All events so far."""
        return tuple(self._history)

    def feed(self, record: Record) -> list[Event]:
        """Look at the next record in settled order. Returns what it brought about, deadlines before it included."""
        events = self.past(record.t_ns - 1)
        self._nothing_due_before_ns = None
        for signal in self._signals.feed(record):
            events += self._take(signal)
        return events

    def past(self, settled_ns: int) -> list[Event]:
        """Nothing up to `settled_ns` is missing any more: let the deadlines up to then pass."""
        events: list[Event] = []
        if self._nothing_due_before_ns is not None and settled_ns < self._nothing_due_before_ns:
            return events  # asked three times for each record, and a storm of edges has a hundred thousand a second
        while (due := min(self._deadlines(), key=_when, default=None)) is not None and due[0] <= settled_ns:
            self._signals.come_true(due[1])
            events += self._take(due[1])
        self._nothing_due_before_ns = due[0] if due else NEVER_NS
        return events

    def no_more(self, t_ns: int) -> list[Event]:
        """All sources have ended; `t_ns` is the latest time that they spoke of."""
        return self.past(t_ns) + self._take(Signal(t_ns, "no_more"))

    def _deadlines(self) -> Iterator[tuple[int, Signal]]:
        yield from self._signals.due()
        for name, since_ns, length_ns in (
            ("rest_over", self._entered_ns, self._rest_ns),
            ("wall_over", self._entered_ns, self._rest_ns),
            ("time_up", self._moving_since_ns, self._cap_ns),
        ):
            if (self._state, name) in self._table:
                yield since_ns + length_ns, Signal(since_ns + length_ns, cast(SignalName, name))

    def _take(self, signal: Signal) -> list[Event]:
        """Look the signal up and take its step, if there is one."""
        step = self._table.get((self._state, signal.name))
        if step is None:
            return []
        self._nothing_due_before_ns = None
        if step.to in ("running", "drifting") and self._state not in _MOVING:
            self._moving_since_ns = signal.t_ns
        if step.to != self._state:
            self._state, self._entered_ns = step.to, signal.t_ns
        if step.to == "ended":
            self._end_reason = cast(EndReason, step.event)
            event = Event(signal.t_ns, "ended", NAME, step.event)
        else:
            event = Event(signal.t_ns, step.event, NAME, signal.words)
        if not step.event:
            return []
        self._history.append(event)
        return [event]


def _when(due: tuple[int, Signal]) -> tuple[int, str]:
    return due[0], due[1].name
