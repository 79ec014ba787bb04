"""Who sails when: the turns of all rounds in one row.

A *turn* is one run that a team still owes. In a balanced order every team comes about as often early as late: rounds go
in pairs, of which the second is the first backwards, and each pair begins where the one before it left off (a reversed
pair cancels whatever changes evenly with time, such as water that gets dirty; common practice, no source). No team
sails twice in a row where there are three or more, as its boat must be fetched and made ready: where two rounds meet in
one team, it changes places with the next one, which costs the balance one place.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from logger.lesson.plan import LessonPlan


@dataclass(frozen=True, slots=True)
class Turn:
    """One run that a team owes."""

    team: int
    """Its number."""
    round: int
    """From 1."""


def turns(plan: LessonPlan) -> tuple[Turn, ...]:
    """Every turn of the lesson, in its running order. Same plan, same order."""
    if plan.order == "given":
        return _given(plan)
    numbers = [team.number for team in plan.teams]
    drawn = random.Random(plan.order_seed)  # noqa: S311 - an order, no secret
    found: list[Turn] = []
    if plan.order == "balanced":
        drawn.shuffle(numbers)
    for round_count in range(1, plan.repeats + 1):
        if plan.order == "random":
            row = drawn.sample(numbers, len(numbers))
        elif plan.order == "balanced":
            row = _balanced(numbers, round_count)
        else:
            row = numbers
        if found and len(row) > 2 and row[0] == found[-1].team:
            row = [row[1], row[0], *row[2:]]
        found += [Turn(number, round_count) for number in row]
    return tuple(found)


def _given(plan: LessonPlan) -> tuple[Turn, ...]:
    """As the experiment has drawn it; a team's turns are counted as they come."""
    seen: dict[int, int] = {}
    found = []
    for one in plan.given:
        seen[one.team] = seen.get(one.team, 0) + 1
        found.append(Turn(one.team, seen[one.team]))
    return tuple(found)


def _balanced(numbers: list[int], round_count: int) -> list[int]:
    pair, is_second = divmod(round_count - 1, 2)
    shift = (pair * len(numbers)) // 2 % len(numbers)
    row = numbers[shift:] + numbers[:shift]
    return row[::-1] if is_second else row
