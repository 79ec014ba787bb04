"""What a lesson's log says: one frozen value for each thing that was done or decided, and its line in the file.

    {"n": 12, "at": "2026-05-04T10:15:00+02:00", "what": "decided", "run_id": "r7", "status": "void", ...}

Nothing in the log is changed; what was a mistake is *undone* by a later entry that names it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeAlias, get_args

from logger import settings
from logger.config import Boat, FileName, Notes
from logger.errors import InputError
from logger.lesson.plan import LessonPlan, Nickname, Number, Team, plan_from_table, plan_table
from logger.results.trial import Status
from logger.settings import Range, Text

Closing: TypeAlias = Literal[
    "finish", "at_rest", "wall", "time_cap", "stopped_by_hand", "recording_ended",  # as the referee says
    "called_off", "early_start", "cut_short", "broken_off", "entered_by_hand",
]  # fmt: skip
"""... · before the boat set off · the boat set off before the word · by a power cut or a crash · the rig failed · no
device sees it."""
NO_RUNS: frozenset[Closing] = frozenset(("called_off", "early_start"))
"""Closings of attempts in which no run began: nothing has to be decided about them."""
Again: TypeAlias = Literal["no", "now", "last"]
"""Whether the turn comes once more: no · as the next one · after all others."""
CountOf: TypeAlias = Literal["cargo", "rings", "weights", "touches"]

REASON_COUNT = 120
"""Letters of a reason at most."""
Reason: TypeAlias = Annotated[str, Text(most=REASON_COUNT)]
HandCount: TypeAlias = Annotated[int, Range(least=0, most=9999)]


@dataclass(frozen=True, slots=True)
class Planned:
    """The lesson was planned; the first entry of every log."""

    plan: LessonPlan


@dataclass(frozen=True, slots=True)
class Began:
    """A boat was called and its recording begun."""

    run_id: FileName
    team: Number
    round: Number


@dataclass(frozen=True, slots=True)
class Closed:
    """A recording came to its end."""

    run_id: FileName
    closing: Closing
    words: Reason = ""


@dataclass(frozen=True, slots=True)
class Decided:
    """A person has said what a run counts as."""

    run_id: FileName
    status: Status
    reason: Reason = ""
    again: Again = "no"


@dataclass(frozen=True, slots=True)
class Reassigned:
    """The run was another team's."""

    run_id: FileName
    team: Number


@dataclass(frozen=True, slots=True)
class Counted:
    """Something was counted by hand."""

    run_id: FileName
    of: CountOf
    count: HandCount


@dataclass(frozen=True, slots=True)
class Noted:
    """Words about a run."""

    run_id: FileName
    words: Notes


@dataclass(frozen=True, slots=True)
class Moved:
    """A team's next turn was moved in the running order."""

    team: Number
    to: Literal["now", "last"]


@dataclass(frozen=True, slots=True)
class Carded:
    """A team's boat has another card: another version of it, or what was measured anew."""

    team: Number
    boat: Boat


@dataclass(frozen=True, slots=True)
class Renamed:
    """A team has another nickname."""

    team: Number
    nickname: Nickname


@dataclass(frozen=True, slots=True)
class Joined:
    """A team came later."""

    team: Team


@dataclass(frozen=True, slots=True)
class Ranked:
    """Whether the wall board orders the teams."""

    shown: bool


@dataclass(frozen=True, slots=True)
class Paused:
    """The bell, or something else."""

    reason: Reason = ""


@dataclass(frozen=True, slots=True)
class Resumed:
    """It goes on."""


@dataclass(frozen=True, slots=True)
class Ended:
    """The lesson is over."""


@dataclass(frozen=True, slots=True)
class ClockTold:
    """A browser has told the wall time, as this computer's own clock is not led by anybody."""

    ahead_s: float
    """By how much the browser's clock was ahead of this computer's."""


@dataclass(frozen=True, slots=True)
class Undone:
    """An earlier entry does not count."""

    entry: Annotated[int, Range(least=1)]


Said: TypeAlias = (
    Planned | Began | Closed | Decided | Reassigned | Counted | Noted | Moved | Carded | Renamed | Joined | Ranked
    | Paused | Resumed | Ended | ClockTold | Undone
)  # fmt: skip
CAN_BE_UNDONE = (Decided, Reassigned, Counted, Noted, Moved, Carded, Renamed, Ranked)
"""What a person may take back. What happened (a recording, a pause) has happened."""
_KINDS: Mapping[str, type] = {kind.__name__.lower(): kind for kind in get_args(Said)}


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the log."""

    number: int
    """From 1."""
    at: str
    """Wall time, RFC 3339, as far as this computer knows it."""
    said: Said


def cut(words: str) -> str:
    """Words of a device or a program, so that they may stand in an entry."""
    plain = " ".join("".join(sign if sign.isprintable() else " " for sign in words).split())
    return plain.lstrip("=+-@ ")[:REASON_COUNT].rstrip()


def entry_table(entry: Entry) -> dict[str, Any]:
    """An entry as a table for its line."""
    said = entry.said
    content = {"plan": plan_table(said.plan)} if isinstance(said, Planned) else settings.to_table(said)
    return {"n": entry.number, "at": entry.at, "what": type(said).__name__.lower(), **content}


def entry_from_table(table: Mapping[str, Any], *, file: str) -> Entry:
    """The entry of a line. ConfigError or InputError: what is wrong with it."""
    content = dict(table)
    number, at, what = content.pop("n", None), content.pop("at", None), content.pop("what", None)
    if not isinstance(number, int) or not isinstance(at, str) or what not in _KINDS:
        raise InputError(f"{file}: found an entry {what!r}; wanted one of {', '.join(_KINDS)}, with n and at")
    place = f"{file}, entry {number}"
    if what == "planned":
        plan = content.get("plan")
        return Entry(number, at, Planned(plan_from_table(plan if isinstance(plan, dict) else {}, file=place)))
    mistakes: list[str] = []
    said = settings.from_table(_KINDS[what], content, place="", mistakes=mistakes)
    if said is None or mistakes:
        raise InputError(f"{place}: {'; '.join(mistakes)}")
    return Entry(number, at, said)
