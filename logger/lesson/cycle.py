"""The course of a lesson as a table: where it stands between the call of a boat and the decision about its run.

What may live here: the table. No clock, no thread, no file; and nothing of how a run is judged, which is the referee's.

The story. A boat is *called*. Somebody presses arm: the rig is being made *ready*, its devices are opened and tested;
if that fails or a beam is blocked, the boat is called still, and it is told why. The referee arms the run: *armed*,
hands out. On go it is *released*; when the boat sets off it is *running*, past the mark line *drifting*. When the run
has ended its recording is *closing*. Then somebody *decides* what it counts as, and the next boat is called. A run that
was called off, or begun before the word, leaves the boat called. When no turn is owed any more all is *done*. Between
two runs the lesson can be *paused*; *over* is for good, unless somebody resumes it. *closed*: no lesson is open.

A pair (state, signal) that is not in the table is refused in a sentence; nothing changes then.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, TypeAlias, get_args

State: TypeAlias = Literal[
    "closed", "called", "ready", "armed", "released", "running", "drifting", "closing", "deciding", "done", "paused",
    "over",
]  # fmt: skip
Press: TypeAlias = Literal["arm", "go", "stop", "decide", "pause", "resume", "end", "change"]
"""What people do. `change`: everything about the plan and about earlier runs (undo, rebuilt boat, move a team ...)."""
Sign: TypeAlias = Literal[
    "next_called", "to_decide", "none_left",  # of the log: what it says now, between two runs
    "failed", "armed", "disarmed", "released", "early_start", "started", "passed_mark", "ended",  # of the run
    "kept", "gone",  # of its recording: it is whole on the disk · nothing of a run was in it
]  # fmt: skip
Signal: TypeAlias = Press | Sign

_BETWEEN: tuple[State, ...] = ("called", "deciding", "done")
"""Between two runs; which of them it is follows from the log alone."""
_UNDER_WAY: tuple[State, ...] = ("running", "drifting")
TABLE: Mapping[tuple[State, Signal], State] = {
    ("called", "arm"): "ready",
    ("deciding", "decide"): "deciding",  # what comes next is for the log to say
    **{(state, "next_called"): "called" for state in _BETWEEN},
    **{(state, "to_decide"): "deciding" for state in _BETWEEN},
    **{(state, "none_left"): "done" for state in _BETWEEN},
    **{(state, "pause"): "paused" for state in ("called", "done")},
    **{(state, "end"): "over" for state in ("called", "done", "paused")},
    **{(state, "resume"): "called" for state in ("paused", "over")},
    **{(state, "change"): state for state in (*_BETWEEN, "paused", "over")},
    ("ready", "armed"): "armed",
    ("ready", "stop"): "closing",
    ("armed", "go"): "armed",  # the word itself is the referee's to hear
    ("armed", "released"): "released",
    ("armed", "early_start"): "closing",
    **{(state, "stop"): "closing" for state in ("armed", "released")},
    **{(state, "disarmed"): "closing" for state in ("armed", "released")},
    **{(state, "started"): "running" for state in ("armed", "released")},
    **{(state, "passed_mark"): "drifting" for state in ("armed", "released", "running")},
    **{(state, "stop"): state for state in _UNDER_WAY},  # the referee ends it
    **{(state, "ended"): "closing" for state in ("ready", "armed", "released", *_UNDER_WAY)},
    **{(state, "failed"): "called" for state in ("ready", "armed", "released")},
    **{(state, "failed"): "deciding" for state in (*_UNDER_WAY, "closing")},
    ("closing", "kept"): "deciding",
    ("closing", "gone"): "called",
}
PRESSES: tuple[Press, ...] = get_args(Press)


def after(state: State, signal: Signal) -> State | None:
    """Where `signal` leads from `state`; None: it means nothing there."""
    return TABLE.get((state, signal))


def may(state: State) -> tuple[Press, ...]:
    """What people may press in `state`."""
    return tuple(press for press in PRESSES if (state, press) in TABLE)


def diagram() -> str:
    """The table as the text of a Mermaid state diagram, for the documentation."""
    arrows = [f"    {state} --> {to}: {signal}" for (state, signal), to in TABLE.items() if to != state]
    return "\n".join(["stateDiagram-v2", "    [*] --> called", *arrows, "    over --> [*]"]) + "\n"
