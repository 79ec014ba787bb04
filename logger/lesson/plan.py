"""The plan of a lesson as frozen values: kind of run, teams and their boats, repeats, rules, running order.

What is written here was decided before the first run. What changes later (a rebuilt boat, another nickname) is an entry
of the lesson's log; see standing.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal, TypeAlias

from logger import settings
from logger.config import Boat, Conditions, KindOfRun, Positive, Rules, Word
from logger.errors import ConfigError
from logger.settings import Range, Text
from logger.station.referee import Begin

FORMAT = "boatrun-lesson/1"

OrderKind: TypeAlias = Literal["fixed", "random", "balanced", "given"]
"""As listed in every round · drawn anew for every round · each team about as often early as late · as an experiment
has drawn it."""
Units: TypeAlias = Literal["metric", "inches"]
"""What lengths are typed in; everything is shown in metric units."""

Nickname: TypeAlias = Annotated[str, Text(most=20, least=1, without='/\\:*?"<>|#%&{}')]
Repeats: TypeAlias = Annotated[int, Range(least=1, most=12)]
Number: TypeAlias = Annotated[int, Range(least=1, most=40)]

MOST_TEAMS = 40
MOST_TURNS = 500
NUMBERS = ("mass_g", "cargo_g", "blowers_count", "fan_distance_mm", "wind_direction_deg")
CAN_BE_SET = (*NUMBERS, "power", "fan_setting")
"""What may be set from run to run, by its name in the column dictionary."""


@dataclass(frozen=True, slots=True)
class Team:
    """Some children with a boat; known by a number and a nickname."""

    number: Number
    nickname: Nickname
    boat: Boat
    """Its boat in its newest version; the boat's own nickname and version stand on its card."""

    @property
    def label(self) -> str:
        """How it is called out."""
        return f"{self.number} {self.nickname}"


@dataclass(frozen=True, slots=True)
class Given:
    """One turn of an order that an experiment has drawn."""

    team: Number
    sets: Word = ""
    """What is set for this run, by its name in the column dictionary; empty: nothing is."""
    to: Word = ""
    """To what it is set, in that column's unit."""

    @property
    def value(self) -> str | float:
        """What it is set to, as it stands on a card. ValueError: it is no number where one is wanted."""
        if self.sets not in NUMBERS:
            return self.to
        return int(self.to) if self.sets == "blowers_count" else float(self.to)


@dataclass(frozen=True, slots=True)
class Agreed:
    """What the class has agreed on, beside what the referee must know."""

    stuck_after_s: Positive = 8.0
    """A boat that has not moved for so long is called stuck."""
    false_starts_count: Annotated[int, Range(least=0, most=5)] = 1
    """So many early starts of a team are free in each of its runs."""
    touch_counts_as: Literal["freed", "void"] = "freed"
    """What a run is called in which somebody helped the boat."""
    count_within_s: Positive = 60.0
    """Time limit of runs in which something is counted, and the fixed time of distance runs."""
    wait_for_calm: bool = True
    """Whether it is told that the water is not calm yet before a run is armed; it is never refused for that."""


@dataclass(frozen=True, slots=True)
class LessonPlan:
    """Everything that was decided before the first run."""

    title: Annotated[str, Text(most=40, least=1)]
    """What the lesson is called on its pages; no name of a child, no name of a school is needed."""
    kind: KindOfRun
    teams: tuple[Team, ...]
    repeats: Repeats = 3
    order: OrderKind = "balanced"
    order_seed: Annotated[int, Range(least=0)] = 1
    """Same seed, same drawn order."""
    begin: Begin = "hands_off"
    rules: Rules = field(default_factory=Rules)
    agreed: Agreed = field(default_factory=Agreed)
    conditions: Conditions = field(default_factory=Conditions)
    """The same for all runs, unless a run says otherwise."""
    shows_ranking: bool = False
    """Whether the wall board orders the teams."""
    keep_pictures_days: Annotated[int, Range(least=0, most=365)] = 0
    """How long the films of the runs are kept after the lesson was closed; 0: they are erased as it is closed."""
    units: Units = "metric"
    simulated: bool = False
    given: tuple[Given, ...] = ()
    """The order, where it is given; then a team has as many runs as it has turns there."""

    def given_for(self, team: int, round_count: int) -> Given | None:
        """What an experiment gives a team for its run of that number, from 1; None if it gives nothing."""
        own = [turn for turn in self.given if turn.team == team]
        return own[round_count - 1] if 0 < round_count <= len(own) else None

    def runs_count(self, team: int) -> int:
        """How many runs a team has in all."""
        return sum(turn.team == team for turn in self.given) or self.repeats

    def team(self, number: int) -> Team | None:
        """The team of that number, or None."""
        return next((team for team in self.teams if team.number == number), None)


def plan_from_table(table: Mapping[str, Any], *, file: str) -> LessonPlan:
    """The plan that `table` describes.

    Raises:
        ConfigError: it says something wrong; all mistakes at once, `file` is named in them.
    """
    content = dict(table)
    mistakes: list[str] = []
    if content.pop("format", FORMAT) != FORMAT:
        mistakes.append(f'format: wanted "{FORMAT}"; made by another version of boatrun')
    plan = settings.from_table(LessonPlan, content, place="", mistakes=mistakes)
    if plan is not None:
        mistakes.extend(team_mistakes(plan.teams))
        mistakes.extend(_given_mistakes(plan))
    if plan is None or mistakes:
        raise ConfigError(file, mistakes)
    return plan


def _given_mistakes(plan: LessonPlan) -> list[str]:
    mistakes = []
    if (plan.order == "given") != bool(plan.given):
        mistakes.append(f"given: found {len(plan.given)} turns for the order {plan.order!r}; wanted both or neither")
    if len(plan.given) > MOST_TURNS:
        mistakes.append(f"given: found {len(plan.given)} turns; wanted {MOST_TURNS} at most")
    strangers = sorted({turn.team for turn in plan.given if plan.team(turn.team) is None})
    mistakes.extend(f"given: found team {number}, which there is not; wanted one of the teams" for number in strangers)
    for sets, to in dict.fromkeys((turn.sets, turn.to) for turn in plan.given if turn.sets):
        mistakes.extend(_setting_mistakes(Given(1, sets, to)))
    return mistakes


def _setting_mistakes(given: Given) -> list[str]:
    """Why a card could not say it: every run's card is written with it, and must be read again."""
    if given.sets not in CAN_BE_SET:
        return [f"given: found {given.sets!r} set from run to run; wanted one of {', '.join(CAN_BE_SET)}"]
    try:
        table = {given.sets: given.value}
    except ValueError:
        return [f"given: found {given.sets} {given.to!r}; wanted a number"]
    mistakes: list[str] = []
    if given.sets == "mass_g":
        settings.from_table(Boat, {"name": "any", **table}, place="given", mistakes=mistakes)
    else:
        settings.from_table(Conditions, table, place="given", mistakes=mistakes)
    return mistakes


def plan_table(plan: LessonPlan) -> dict[str, Any]:
    """The plan as a table, everything written out."""
    return {"format": FORMAT, **settings.to_table(plan)}


def team_mistakes(teams: tuple[Team, ...]) -> list[str]:
    """What is wrong with the teams as a whole."""
    mistakes = []
    if not 1 <= len(teams) <= MOST_TEAMS:
        mistakes.append(f"teams: found {len(teams)}; wanted 1 to {MOST_TEAMS}")
    for what, names in (
        ("number", [str(team.number) for team in teams]),
        ("nickname", [team.nickname.casefold() for team in teams]),
        ("tag number", [str(t.boat.tag.number) for t in teams if t.boat.tag and t.boat.tag.number is not None]),
    ):
        twice = sorted({name for name in names if names.count(name) > 1})
        mistakes.extend(f"teams: {what} {name} is there more than once; give each team its own" for name in twice)
    return mistakes
