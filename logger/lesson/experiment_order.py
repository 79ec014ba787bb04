"""An experiment's order as the running order of a lesson: each of its boats is a team, each of its turns one run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from logger.errors import InputError
from logger.lesson.plan import CAN_BE_SET, Given, LessonPlan, Team, plan_from_table, plan_table
from logger.study.experiment import Experiment, running_order

_LESSON_EACH = "print the order, and make a lesson for each of its values"
_INSTEAD = {
    "material": "change the boat instead, one boat of each material: a class's page compares them by material",
    "version": "sail the first version, rebuild, sail the next: a class's page compares before and after",
}


def boats_of(experiment: Experiment, *, otherwise: str = "Boat") -> tuple[str, ...]:
    """The boats that take part, in the order of the plan; `otherwise` where it names none."""
    if experiment.changed.name == "boat":
        return experiment.changed.all_levels
    return experiment.boats or (otherwise,)


def given_by(experiment: Experiment, teams: Sequence[Team]) -> tuple[Given, ...]:
    """Every turn of the experiment as a turn of these teams, of which boats are called as in the plan.

    Raises:
        InputError: a boat has no team, or what is changed cannot be set from run to run.
    """
    changed = experiment.changed.name
    is_boat = changed == "boat"
    if not is_boat and changed not in CAN_BE_SET:
        raise InputError(
            f"experiment: {changed} cannot be set from run to run of a lesson: it stands on the boat's card or in the "
            f"rig file; {_INSTEAD.get(changed, _LESSON_EACH)}"
        )
    numbers = {team.boat.name.casefold(): team.number for team in teams}
    only = teams[0].number if len(teams) == 1 else None
    found = []
    for turn in running_order(experiment):
        boat = turn.level if is_boat else turn.boat
        number = numbers.get(boat.casefold(), only if not boat else None)
        if number is None:
            raise InputError(f"experiment: found no team with the boat {boat!r}; wanted one for every boat of the plan")
        found.append(Given(number) if is_boat else Given(number, changed, turn.level))
    return tuple(found)


def in_order_of(experiment: Experiment, lesson: LessonPlan) -> LessonPlan:
    """The lesson with the experiment's order in place of its own.

    Raises:
        InputError: as for `given_by`.
        ConfigError: what would be set cannot stand on a run's card.
    """
    given = given_by(experiment, lesson.teams)
    made = replace(lesson, order="given", given=given, repeats=min(experiment.repeats, 12))
    return plan_from_table(plan_table(made), file="experiment")
