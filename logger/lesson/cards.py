"""The card of a run from the lesson: whose boat, which rules, what was the same for all."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from logger import __version__
from logger.config import KindOfRun, RunCard
from logger.lesson.order import Turn
from logger.lesson.standing import Standing

COUNTED: frozenset[KindOfRun] = frozenset(("cargo", "rings", "distance"))
"""Kinds of run that have a time of their own, after which they are over."""


def card_of(standing: Standing, turn: Turn, *, run_id: str, at: str, clock_set_by: str = "unknown") -> RunCard:
    """The card of the team's next run.

    Args:
        standing: the lesson as it is now.
        turn: whose run.
        run_id: what it is to be called.
        at: wall time, RFC 3339.
        clock_set_by: how this computer's wall clock was set; a time that a browser has told goes before it.

    Raises:
        KeyError: there is no such team.
    """
    plan, team = standing.plan, standing.team(turn.team)
    if team is None:
        raise KeyError(turn.team)
    rules, ahead_s = plan.rules, standing.clock_ahead_s
    if plan.kind in COUNTED:
        rules = replace(rules, time_cap_s=plan.agreed.count_within_s)
    return RunCard(
        id=run_id,
        kind=plan.kind,
        recorded_at=at if ahead_s is None else _later(at, ahead_s),
        boat=replace(team.boat, team=team.label),
        conditions=plan.conditions,
        rules=rules,
        clock_set_by=clock_set_by if ahead_s is None else "browser",
        software=f"boatrun {__version__}",
        simulated=plan.simulated,
    )


def _later(at: str, ahead_s: float) -> str:
    return (datetime.fromisoformat(at) + timedelta(seconds=ahead_s)).isoformat(timespec="seconds")
