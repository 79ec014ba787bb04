"""Where a lesson stands: what follows from its log, and nothing else.

    entries -> fold -> teams, attempts, turns still owed

An *attempt* is one recording: a run, or one that was called off. A turn is owed until an attempt of its team has been
decided as counting: kept, freed, or did not finish. A void run leaves the turn owed, unless a person says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

from logger.errors import InputError
from logger.lesson import entries as log
from logger.lesson.entries import Again, Closing, CountOf, Entry
from logger.lesson.order import Turn, turns
from logger.lesson.plan import LessonPlan, Team
from logger.results.trial import Status

AttemptState: TypeAlias = Literal["under_way", "to_decide", "decided", "no_run"]


@dataclass(frozen=True, slots=True)
class Attempt:
    """One recording of the lesson, as it stands now."""

    run_id: str
    team: int
    """Whose it was, after all corrections."""
    round: int
    """Which of its runs it was meant as."""
    boat_name: str
    boat_version: int
    """Counts rebuilds."""
    began_at: str
    closing: Closing | None = None
    """None: it is under way."""
    words: str = ""
    """Why it was called off or broken off."""
    status: Status | None = None
    """None: nobody has decided yet."""
    reason: str = ""
    again: Again = "no"
    counts: Mapping[CountOf, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def state(self) -> AttemptState:
        """How far it is."""
        if self.closing is None:
            return "under_way"
        if self.closing in log.NO_RUNS:
            return "no_run"
        return "to_decide" if self.status is None else "decided"


@dataclass(frozen=True, slots=True)
class Standing:
    """A lesson as it stands."""

    plan: LessonPlan
    """As it was planned."""
    teams: tuple[Team, ...]
    """As they are now: nicknames, boats."""
    attempts: tuple[Attempt, ...]
    """In the order in which they began."""
    owed: tuple[Turn, ...]
    """The turns still to be sailed, the next one first."""
    shows_ranking: bool
    is_paused: bool = False
    is_over: bool = False
    can_undo: int | None = None
    """Number of the entry that would be taken back; None: there is none."""
    clock_ahead_s: float | None = None
    """By how much a browser's clock was ahead of this computer's, which nobody leads; None: nobody has told."""

    @property
    def next_turn(self) -> Turn | None:
        """Whose turn it is; None: all is done, or the lesson is over."""
        return self.owed[0] if self.owed and not self.is_over else None

    @property
    def open_attempt(self) -> Attempt | None:
        """The one that is under way or waits for a decision: the oldest of them."""
        return next((a for a in self.attempts if a.state in ("under_way", "to_decide")), None)

    def team(self, number: int) -> Team | None:
        """The team of that number as it is now."""
        return next((team for team in self.teams if team.number == number), None)

    def attempt(self, run_id: str) -> Attempt | None:
        """The attempt of that name."""
        return next((attempt for attempt in self.attempts if attempt.run_id == run_id), None)

    def early_starts(self, turn: Turn) -> int:
        """How often the team has started early in this turn."""
        return sum(a.closing == "early_start" and (a.team, a.round) == (turn.team, turn.round) for a in self.attempts)


def fold(entries: Iterable[Entry]) -> Standing:
    """Where the lesson stands after these entries.

    Raises:
        InputError: the log does not begin with a plan.
    """
    found = list(entries)
    undone = {e.said.entry for e in found if isinstance(e.said, log.Undone)}
    counted = [e for e in found if e.number not in undone]
    if not counted or not isinstance(counted[0].said, log.Planned):
        raise InputError("the lesson's log does not begin with its plan; put back the file as it was")
    owners = {e.said.run_id: e.said.team for e in counted if isinstance(e.said, log.Reassigned)}
    state = _Fold(counted[0].said.plan, owners)
    for entry in counted[1:]:
        state.take(entry)
    takeable = [e.number for e in counted if isinstance(e.said, log.CAN_BE_UNDONE)]
    return state.standing(can_undo=takeable[-1] if takeable else None)


class _Fold:
    """The lesson between two entries."""

    def __init__(self, plan: LessonPlan, owners: Mapping[str, int]) -> None:
        self._plan, self._owners = plan, owners
        self._teams = {team.number: team for team in plan.teams}
        self._attempts: dict[str, Attempt] = {}
        self._owed = list(turns(plan))
        self._shows_ranking = plan.shows_ranking
        self._is_paused = self._is_over = False
        self._clock_ahead_s: float | None = None

    def standing(self, *, can_undo: int | None) -> Standing:
        return Standing(
            self._plan, tuple(self._teams.values()), tuple(self._attempts.values()), tuple(self._owed),
            self._shows_ranking, self._is_paused, self._is_over, can_undo, self._clock_ahead_s,
        )  # fmt: skip

    def take(self, entry: Entry) -> None:
        """What `entry` changes."""
        said = entry.said
        match said:
            case log.Began():
                self._begin(said, entry.at)
            case log.Closed():
                self._change(said.run_id, closing=said.closing, words=said.words)
            case log.Decided():
                self._change(said.run_id, status=said.status, reason=said.reason, again=said.again)
                self._settle(said)
            case log.Counted() if said.run_id in self._attempts:
                counts = {**self._attempts[said.run_id].counts, said.of: said.count}
                self._change(said.run_id, counts=counts)
            case log.Noted() if said.run_id in self._attempts:
                self._change(said.run_id, notes=(*self._attempts[said.run_id].notes, said.words))
            case log.Moved():
                self._move(said.team, to=said.to)
            case log.Carded() if said.team in self._teams:
                self._teams[said.team] = replace(self._teams[said.team], boat=said.boat)
            case log.Renamed() if said.team in self._teams:
                self._teams[said.team] = replace(self._teams[said.team], nickname=said.nickname)
            case log.Joined():
                self._teams[said.team.number] = said.team
                self._owed += [Turn(said.team.number, number) for number in range(1, self._plan.repeats + 1)]
            case log.Ranked():
                self._shows_ranking = said.shown
            case log.Paused():
                self._is_paused = True
            case log.Resumed():
                self._is_paused = self._is_over = False
            case log.Ended():
                self._is_over = True
            case log.ClockTold():
                self._clock_ahead_s = said.ahead_s
            case _:
                pass

    def _begin(self, said: log.Began, at: str) -> None:
        owner = self._owners.get(said.run_id, said.team)
        team = self._teams.get(owner)
        boat, version = (team.boat.name, team.boat.version) if team else ("", 1)
        self._attempts[said.run_id] = Attempt(said.run_id, owner, said.round, boat, version, at)

    def _change(self, run_id: str, **fields: object) -> None:
        if run_id in self._attempts:
            self._attempts[run_id] = replace(self._attempts[run_id], **fields)  # type: ignore[arg-type]

    def _settle(self, said: log.Decided) -> None:
        """What a decision does to the turns: of a run decided a second time only what is new."""
        attempt = self._attempts.get(said.run_id)
        if attempt is None:
            return
        turn = Turn(attempt.team, attempt.round)
        is_owed = turn in self._owed
        if said.status == "void" and said.again != "no":
            if is_owed:
                self._owed.remove(turn)
            self._owed.insert(0 if said.again == "now" else len(self._owed), turn)
        elif is_owed:
            self._owed.remove(turn)

    def _move(self, team: int, *, to: Literal["now", "last"]) -> None:
        turn = next((turn for turn in self._owed if turn.team == team), None)
        if turn is not None:
            self._owed.remove(turn)
            self._owed.insert(0 if to == "now" else len(self._owed), turn)


def numbered(said: Iterable[log.Said], *, at: str, first: int = 1) -> Iterator[Entry]:
    """Entries of what was said, all at the same time."""
    for number, one in enumerate(said, start=first):
        yield Entry(number, at, one)
