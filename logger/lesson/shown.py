"""What is shown: from where the lesson stands, and from the run under way, to the board."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from logger.config import KindOfRun
from logger.lesson import counted, cycle
from logger.lesson.board import Board, Came, Figure, Who
from logger.lesson.crew import Seen
from logger.lesson.cycle import Signal, State
from logger.lesson.entries import Closing
from logger.lesson.first_figures import WITNESS as LIVE
from logger.lesson.order import Turn
from logger.lesson.standing import Attempt, Standing
from logger.lesson.table import ranking
from logger.recording.folder import Event
from logger.records import Fix
from logger.results.trial import NotMeasured, Result, Trial
from logger.study import words

MOST_NOTICES = 8
MOST_DOUBT_SHARE = 0.25
"""A time with a ± of more than this share of itself tells no boat from another: a hand was in a beam, as a rule. Boats
scatter by 5 to 25 % from run to run."""
BESIDE: Mapping[KindOfRun, tuple[str, ...]] = {
    "straight": ("speed_mean_m_per_s",),
    "drift": ("speed_at_line_m_per_s",),
    "course": ("ports_count", "obstacle_touches_count"),
    "cargo": ("cargo_per_min", "ports_count"),
    "rings": ("obstacle_touches_count",),
    "distance": ("speed_mean_m_per_s",),
    "load": (),
    "balance": (),
}
"""Kind of run -> what is shown of it beside its main result."""
_NOT_NOW: Mapping[State, str] = {
    "closed": "no lesson is open; begin one first",
    "called": "no run is under way; arm it first",
    "ready": "the rig is being made ready; a moment, please",
    "armed": "a run is armed; stop it first if it is not to be",
    "released": "a run is under way; stop it first if it is not to be",
    "running": "a boat is under way; wait until the run has ended, or stop it",
    "drifting": "a boat is under way; wait until it rests, or stop it",
    "closing": "the run is being kept; a moment, please",
    "deciding": "the last run waits for a decision; keep it, or say what it was",
    "done": "all runs are done; make one void to repeat it, or end the lesson",
    "paused": "the lesson is paused; go on first",
    "over": "the lesson is over; go on with it first",
}
_NOTED = frozenset(("early_start", "arming_refused", "fault", "self_test", "disk_slow", "freed", "note"))
"""Events that everybody should see while the run goes on."""


@dataclass(frozen=True, slots=True)
class RunShown:
    """The run under way, or the last one, as far as is known."""

    run_id: str = ""
    closing: Closing = "recording_ended"
    since_ns: int = 0
    """When the present state of the lesson began."""
    running_ns: int | None = None
    trial: Trial | None = None
    is_final: bool = False
    why_none: str = ""
    """Why it cannot be measured."""
    notices: tuple[str, ...] = ()
    boat_mm: tuple[float, float] | None = None
    still_since_ns: int | None = None
    still_at_mm: tuple[float, float] = (math.inf, math.inf)

    def after(self, event: Event) -> RunShown:
        """What `event` changes."""
        run = self
        if event.event in ("started", "passed_mark") and run.running_ns is None:
            run = replace(run, running_ns=event.t_ns)
        if event.event == "ended":
            run = replace(run, closing=event.detail)  # type: ignore[arg-type]
        if event.event in _NOTED:
            run = run.noticing(f"{event.event.replace('_', ' ')}{f': {event.detail}' if event.detail else ''}")
        return run

    def noticing(self, sentence: str) -> RunShown:
        """With one more notice, if it is new."""
        if sentence in self.notices:
            return self
        return replace(self, notices=(*self.notices, sentence)[-MOST_NOTICES:])

    def located(self, fix: Fix, *, state: State, stuck_after_s: float, stop_speed_mm_per_s: float) -> RunShown:
        """The boat was seen here: where it is, and whether it is stuck."""
        place = (fix.x_mm, fix.y_mm)
        run = replace(self, boat_mm=(round(fix.x_mm), round(fix.y_mm)))
        if state != "running":  # it may wait for the word as long as it likes
            return replace(run, still_since_ns=None)
        far_mm = stop_speed_mm_per_s * stuck_after_s
        if self.still_since_ns is None or math.dist(place, self.still_at_mm) > far_mm:
            return replace(run, still_since_ns=fix.t_ns, still_at_mm=place)
        still_s = (fix.t_ns - self.still_since_ns) / 1e9
        if still_s >= stuck_after_s:
            return run.noticing(f"stuck: it has hardly moved for {stuck_after_s:g} s")
        return run

    def without_run(self) -> RunShown:
        """After an attempt in which no run began: its notices stay until the next one."""
        return RunShown(since_ns=self.since_ns, notices=self.notices)


def sentences(text: str) -> tuple[str, ...]:
    """Several mistakes told in one line, one by one."""
    return tuple(part for part in " ".join(text.split()).split(" | ") if part)


def not_now(state: State, signal: Signal) -> str:
    """Why `signal` means nothing now."""
    return f"not now: {_NOT_NOW[state]}" if signal != "go" or state != "called" else "not now: arm the run first"


def board(
    version: int,
    name: str,
    standing: Standing | None,
    state: State,
    *,
    run: RunShown,
    seen: Seen,
    troubles: tuple[str, ...],
    trials: Mapping[str, Trial],
    log_count: int = 0,
) -> Board:
    """What everybody sees of the lesson as it stands, the run under way and the rig between runs."""
    if standing is None:
        return Board(version, "")
    turns = standing.owed
    active = standing.attempt(run.run_id) if run.run_id else None
    is_under_way = active is not None and state not in ("called", "done", "paused", "over")
    whose = Turn(active.team, active.round) if active is not None and is_under_way else standing.next_turn
    coming = [turn for turn in turns if not (is_under_way and turn == whose)]
    following = coming if is_under_way else coming[1:]
    between = state in ("called", "deciding")
    return Board(
        version, name, standing.plan.title, standing.plan.kind, standing.plan.simulated, state, run.since_ns,
        running_ns=run.running_ns if state in ("running", "drifting") else None,
        who=_who(standing, whose),
        then=tuple(who for turn in following[:2] if (who := _who(standing, turn)) is not None),
        run_id=run.run_id,
        left_count=len(turns),
        done_count=sum(a.state == "decided" for a in standing.attempts),
        last=_came(standing, state, run, trials),
        troubles=(*troubles, *(seen.troubles if between else ())),
        notices=run.notices,
        water=seen.water if between else "unknown",
        beams=dict(seen.beams) if between else {},
        tag_team=_tag_team(standing, seen) if between else None,
        boat_mm=run.boat_mm if state in ("armed", "released", "running", "drifting") else None,
        may=cycle.may(state),
        can_undo=standing.can_undo is not None,
        ranking=ranking(standing, trials, words.main_result(standing.plan.kind)) if standing.shows_ranking else (),
        log_count=log_count,
    )  # fmt: skip


def _who(standing: Standing, turn: Turn | None) -> Who | None:
    if turn is None:
        return None
    team = standing.team(turn.team)
    if team is None:
        return None
    boat = team.boat
    given = standing.plan.given_for(turn.team, turn.round)
    return Who(turn.team, team.nickname, boat.name, boat.version, turn.round, standing.plan.runs_count(turn.team),
               has_mass=boat.mass_g is not None or (given is not None and given.sets == "mass_g"),
               sets=given.sets if given else "", to=given.to if given else "")  # fmt: skip


def _tag_team(standing: Standing, seen: Seen) -> int | None:
    """The team whose tag lies in the water, if it is not the called one's."""
    if seen.tag_number is None:
        return None
    called = standing.next_turn.team if standing.next_turn else None
    for team in standing.teams:
        if team.boat.tag is not None and team.boat.tag.number == seen.tag_number and team.number != called:
            return team.number
    return None


def _came(standing: Standing, state: State, run: RunShown, trials: Mapping[str, Trial]) -> Came | None:
    """The run that is shown: the one under way once there is something to show, or the last one that ended."""
    if state == "closing" and run.trial is not None and (kept := standing.attempt(run.run_id)) is not None:
        return came(standing, kept, run.trial, is_final=False)
    if state in ("ready", "armed", "released", "running", "drifting", "closing"):
        return None
    ended = [a for a in standing.attempts if a.state in ("to_decide", "decided")]
    if not ended:
        return None
    attempt = ended[-1]
    if run.run_id == attempt.run_id:
        return came(standing, attempt, run.trial, is_final=run.is_final, why_none=run.why_none)
    trial = trials.get(attempt.run_id)
    return came(standing, attempt, trial, is_final=trial is not None)


def came(standing: Standing, attempt: Attempt, trial: Trial | None, *, is_final: bool, why_none: str = "") -> Came:
    """What a run came to, for people."""
    who = _who(standing, Turn(attempt.team, attempt.round))
    assert who is not None  # noqa: S101 - teams are never taken away
    who = replace(who, boat=attempt.boat_name or who.boat, version=attempt.boat_version)
    names = (words.main_result(standing.plan.kind), *BESIDE.get(standing.plan.kind, ()))
    if standing.plan.kind in ("straight", "course") and standing.plan.begin == "on_go":
        names = ("time_from_go_s", *names)
    found = counted.results(trial, attempt.counts)
    missing = {} if trial is None else trial.not_measured
    return Came(
        attempt.run_id, who, attempt.status or "undecided", attempt.closing or "",
        is_final=is_final and (trial is None or counted.agrees(trial, attempt.counts)),
        figures=tuple(_figure(name, found[name]) for name in names if name in found),
        not_measured=_missing(names, found, missing) if is_final else (),
        flags=(*(() if trial is None else trial.flags), *((why_none,) if why_none else ())),
        reason=attempt.reason,
        proposal=_proposal(attempt, trial, standing),
    )  # fmt: skip


def _missing(
    names: tuple[str, ...], found: Mapping[str, Result], missing: Mapping[str, NotMeasured]
) -> tuple[str, ...]:
    main = names[0]
    return (missing[main].reason,) if main not in found and main in missing else ()


def _figure(name: str, result: Result) -> Figure:
    quantity = result.quantity
    doubt = f"±\u00a0{words.give_or_take(quantity)}" if quantity.u > 0 else ""
    return Figure(name, quantity.value, quantity.u, quantity.unit, words.value_only(result), doubt,
                  at_least=result.at_least, witness=result.witness)  # fmt: skip


def _proposal(attempt: Attempt, trial: Trial | None, standing: Standing) -> str:
    """What the run would be called if nobody said otherwise."""
    if attempt.closing in ("cut_short", "broken_off"):
        return "void"
    if trial is not None and trial.status != "valid":
        return trial.status if trial.status != "freed" else standing.plan.agreed.touch_counts_as
    if trial is not None and _says_nothing(trial.results.get("time_s")):
        return "void"
    has_time = trial is not None and "time_s" in trial.results
    if attempt.closing in ("time_cap", "stopped_by_hand") and standing.plan.kind in ("straight", "course"):
        return "valid" if has_time and attempt.closing == "stopped_by_hand" else "did_not_finish"
    return "valid"


def _says_nothing(time: Result | None) -> bool:
    if time is None or time.witness == LIVE:
        return False
    return MOST_DOUBT_SHARE * abs(time.quantity.value) < time.quantity.U
