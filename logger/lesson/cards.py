"""The card of a run from the lesson: whose boat, which rules, what was the same for all."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from logger import __version__
from logger.config import Boat, Conditions, KindOfRun, RunCard
from logger.lesson.order import Turn
from logger.lesson.plan import Given
from logger.lesson.standing import Standing

COUNTED: frozenset[KindOfRun] = frozenset(("cargo", "rings", "distance"))
"""Kinds of run that have a time of their own, after which they are over."""


def card_of(
    standing: Standing, turn: Turn, *, run_id: str, at: str, clock_set_by: str = "unknown", lesson: str = ""
) -> RunCard:
    """The card of the team's next run.

    Args:
        standing: the lesson as it is now.
        turn: whose run.
        run_id: what it is to be called.
        at: wall time, RFC 3339.
        clock_set_by: how this computer's wall clock was set; a time that a browser has told goes before it.
        lesson: the name of its folder.

    Raises:
        KeyError: there is no such team.
    """
    plan, team = standing.plan, standing.team(turn.team)
    if team is None:
        raise KeyError(turn.team)
    rules, ahead_s = plan.rules, standing.clock_ahead_s
    if plan.kind in COUNTED:
        rules = replace(rules, time_cap_s=plan.agreed.count_within_s)
    given = plan.given_for(turn.team, turn.round)
    boat, conditions = as_given(team.boat, plan.conditions, given)
    return RunCard(
        id=run_id,
        kind=plan.kind,
        recorded_at=at if ahead_s is None else _later(at, ahead_s),
        boat=replace(boat, team=team.label),
        conditions=conditions,
        rules=rules,
        clock_set_by=clock_set_by if ahead_s is None else "browser",
        software=f"boatrun {__version__}",
        simulated=plan.simulated,
        lesson=lesson,
    )


def as_given(boat: Boat, conditions: Conditions, given: Given | None) -> tuple[Boat, Conditions]:
    """Boat and conditions with what an experiment sets for a run; a mass is noted as planned, as nobody weighed it."""
    if given is None or not given.sets:
        return boat, conditions
    if given.sets == "mass_g":
        note = " ".join(filter(None, (conditions.notes, "mass_g as planned, not weighed")))
        return replace(boat, mass_g=float(given.value)), replace(conditions, notes=note)
    return boat, replace(conditions, **{given.sets: given.value})  # type: ignore[arg-type]


def _later(at: str, ahead_s: float) -> str:
    return (datetime.fromisoformat(at) + timedelta(seconds=ahead_s)).isoformat(timespec="seconds")
