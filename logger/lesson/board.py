"""What everybody sees now, as one frozen value: the wall board, the teacher's page and the tablets are drawn from it.

It says things by their names (states, turns, results), not in sentences: what they are called on a page is for the
page. Sentences in it are those of the referee, the drivers and the trial, which tell of one case.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal, TypeAlias

from logger.config import KindOfRun
from logger.lesson.cycle import State

Water: TypeAlias = Literal["calm", "moving", "unknown"]
BeamSeen: TypeAlias = Literal["clear", "blocked", "unknown"]


@dataclass(frozen=True, slots=True)
class Who:
    """A team and its boat."""

    team: int
    nickname: str
    boat: str
    version: int
    """Of the boat; counts rebuilds."""
    round: int
    """Which of its runs it is, from 1."""
    of_rounds: int
    """How many runs it has in all."""
    has_mass: bool = True
    """False: its card has no mass yet."""
    sets: str = ""
    """What an experiment sets for this run, by its name in the column dictionary; empty: nothing."""
    to: str = ""
    """To what, in that column's unit."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One number for people, rounded to its own doubt."""

    name: str
    """Its name in the column dictionary, such as time_s."""
    value: float
    """In `unit`."""
    u: float
    """Standard uncertainty."""
    unit: str
    text: str
    """The value with its unit."""
    doubt: str
    """± at 95 %, with its unit; empty if there is none to be told."""
    at_least: bool = False
    witness: str = ""
    """gate, camera, gate+camera, or live: not measured yet, only seen while it happened."""


@dataclass(frozen=True, slots=True)
class Came:
    """What a run came to, as far as is known."""

    run_id: str
    who: Who
    status: str
    """valid, void, did_not_finish, freed; or undecided."""
    end_reason: str
    is_final: bool
    """False: first figures; the pictures are still being looked through."""
    figures: tuple[Figure, ...] = ()
    """The main one first; none: nothing could be measured."""
    not_measured: tuple[str, ...] = ()
    """Why the main figures are missing, as sentences."""
    flags: tuple[str, ...] = ()
    """Doubts, as sentences."""
    reason: str = ""
    """Why it was made void."""
    proposal: str = "valid"
    """What it would be called if nobody says otherwise: valid, void, did_not_finish, freed."""


@dataclass(frozen=True, slots=True)
class Place:
    """A team's place in the ranking."""

    place: int | None
    """Ties share the better place; None: it has none, as it has too few runs or they differ too much."""
    is_tied: bool
    who: Who
    figure: Figure | None
    """Mean of its runs that count; None: it has none."""
    runs_count: int


@dataclass(frozen=True, slots=True)
class Board:
    """Everything that is shown now."""

    version: int
    """Grows with every change."""
    lesson: str
    """Name of the lesson's folder; empty: none is open."""
    title: str = ""
    kind: KindOfRun = "straight"
    simulated: bool = False
    state: State = "closed"
    since_ns: int = 0
    """CLOCK_MONOTONIC, when this state began."""
    running_ns: int | None = None
    """When the boat started, while it is under way."""
    who: Who | None = None
    """Whose turn it is."""
    then: tuple[Who, ...] = ()
    """The next two."""
    run_id: str = ""
    left_count: int = 0
    """Turns that are still owed, this one among them."""
    done_count: int = 0
    """Runs decided so far."""
    last: Came | None = None
    """The run under way or, until the next one is armed, the last one."""
    troubles: tuple[str, ...] = ()
    """What stands in the way now, each with its cure."""
    notices: tuple[str, ...] = ()
    """What was noticed in this run so far: stuck, early start, somebody helps it ..."""
    water: Water = "unknown"
    beams: Mapping[str, BeamSeen] = field(default_factory=dict)
    tag_team: int | None = None
    """Number of the team whose tag lies in the water, if another one than the called was seen."""
    boat_mm: tuple[float, float] | None = None
    """Where the boat was seen last, while it is under way."""
    may: tuple[str, ...] = ()
    """What may be pressed now; see cycle.py."""
    can_undo: bool = False
    ranking: tuple[Place, ...] = ()
    """Empty: not shown."""
    log_count: int = 0
    """Lines of the lesson's log: tells of what stands there alone, as notes do."""

    def table(self) -> dict[str, Any]:
        """As a table for JSON."""
        return asdict(self)
