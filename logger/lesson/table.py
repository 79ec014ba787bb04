"""The teams in order, with ties where their runs do not tell."""

from __future__ import annotations

from collections.abc import Mapping

from logger.lesson import counted
from logger.lesson.board import Figure, Place, Who
from logger.lesson.standing import Standing
from logger.results.trial import Result, Trial
from logger.study import compare, words
from logger.study import ranking as places


def ranking(standing: Standing, trials: Mapping[str, Trial], name: str) -> tuple[Place, ...]:
    """The teams by the result `name`; behind them those that cannot be placed, last those without a run that counts.

    Only the runs of a team's newest boat count: a rebuilt boat is another one. A run that the wall cut short counts for
    what it is at least.
    """
    runs = {team.number: _counting(standing, trials, team.number, name) for team in standing.teams}
    having = [compare.repeats_of_results(str(number), found, name) for number, found in runs.items() if found]
    order = places.places(having, compare.compare_all(having), more_is_better=words.more_is_better(name))
    found = []
    for one in order:
        repeats = next(r for r in having if r.boat == one.boat)
        figure = _figure(name, repeats)
        found.append(Place(one.place, one.is_tie, _who(standing, int(one.boat)), figure, repeats.count))
    found += [Place(None, False, _who(standing, number), None, 0) for number, values in runs.items() if not values]
    return tuple(found)


def _counting(standing: Standing, trials: Mapping[str, Trial], team: int, name: str) -> list[Result]:
    newest = standing.team(team)
    found = []
    for attempt in standing.attempts:
        trial = trials.get(attempt.run_id)
        counts = attempt.team == team and attempt.status in ("valid", "freed")
        if counts and trial is not None and newest is not None and attempt.boat_version == newest.boat.version:
            result = counted.results(trial, attempt.counts).get(name)
            if result is not None:
                found.append(result)
    return found


def _figure(name: str, repeats: compare.Repeats) -> Figure:
    mean, is_floor = repeats.mean_with_spread, repeats.floors_count > 0
    text = words.value_only(Result(mean, "", at_least=is_floor))
    doubt = f"±\u00a0{words.give_or_take(mean)}" if repeats.count > 1 else ""
    return Figure(name, mean.value, mean.u, mean.unit, text, doubt, at_least=is_floor)


def _who(standing: Standing, number: int) -> Who:
    team = standing.team(number)
    assert team is not None  # noqa: S101 - it came from there
    owed = sum(turn.team == number for turn in standing.owed)
    return Who(number, team.nickname, team.boat.name, team.boat.version, standing.plan.repeats - owed,
               standing.plan.repeats, has_mass=team.boat.mass_g is not None)  # fmt: skip
