"""An experiment: a question, one thing that is changed, what is held equal, and in which order the runs are made.

The order is drawn by lot, in rounds: each round has every boat at every level once, so that whatever changes during a
lesson (water that warms, blowers that tire) meets all levels alike. That is a randomised complete block design.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from random import Random
from typing import Annotated

from logger.config import KindOfRun
from logger.errors import ConfigError
from logger.results.columns import COLUMNS, RESULTS
from logger.settings import Range, Text, near, read
from logger.study import words
from logger.study.tongue import _, several

FORMAT = "boatrun-experiment/1"
Row = Mapping[str, str]
"""A run as it stands in runs.csv."""

CHANGEABLE = (
    "boat", "version", "power", "blowers_count", "fan_setting", "fan_distance_mm", "wind_direction_deg", "cargo_g",
    "water_depth_mm", "mass_g", "material",
)  # fmt: skip
"""What may be changed or held equal: columns of runs.csv that people decide."""
_NEAR = 0.25
"""A number within so much of the smallest gap between levels counts as that level."""


@dataclass(frozen=True, slots=True)
class Changed:
    """The one thing that is changed."""

    name: str
    levels: tuple[float, ...] = ()
    """Its values, for a number."""
    choices: tuple[Annotated[str, Text(most=40, least=1)], ...] = ()
    """Its values, for words."""

    @property
    def all_levels(self) -> tuple[str, ...]:
        """Its values as text."""
        return tuple(f"{level:g}" for level in self.levels) or self.choices

    def level_of(self, row: Row) -> str | None:
        """Which level a run had; None if none, or not known."""
        found = row.get(self.name, "")
        if not self.levels:
            return next((choice for choice in self.choices if choice.casefold() == found.casefold()), None)
        if not found:
            return None
        ordered = sorted(self.levels)
        gap = min((b - a for a, b in pairwise(ordered)), default=abs(ordered[0]))
        nearest = min(self.levels, key=lambda level: abs(level - float(found)))
        return f"{nearest:g}" if abs(nearest - float(found)) <= _NEAR * gap else None


@dataclass(frozen=True, slots=True)
class Experiment:
    """The plan."""

    question: Annotated[str, Text(most=200, least=5)]
    kind: KindOfRun
    result: str
    """Name of the result that answers it."""
    changed: Changed
    boats: tuple[Annotated[str, Text(most=40, least=1)], ...] = ()
    """Boats that take part; empty if the boat is what is changed, or there is one only."""
    held_equal: tuple[str, ...] = ()
    repeats: Annotated[int, Range(least=1, most=50)] = 3
    """Runs of each boat at each level."""
    seed: Annotated[int, Range(least=0)] = 1
    """Of the lot: same seed, same order."""
    prediction: Annotated[str, Text(most=300)] = ""


@dataclass(frozen=True, slots=True)
class Turn:
    """One run to be made."""

    number: int
    """From 1."""
    round: int
    """From 1."""
    boat: str
    level: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One boat at one level."""

    boat: str
    level: str
    values: tuple[float, ...] = field(default=())
    """In the unit of the result."""
    floors: tuple[float, ...] = field(default=())
    """Of runs that were cut short: so much or more, in the unit of the result."""

    @property
    def made_count(self) -> int:
        """Runs that count: a plain number."""
        return len(self.values) + len(self.floors)


def experiment_of(table: Mapping[str, object], *, file: str) -> Experiment:
    """The plan that a settings file holds.

    Raises:
        ConfigError: with all mistakes, each with place, what was found and what is wanted.
    """
    rest = {name: value for name, value in table.items() if name != "format"}
    mistakes = [] if table.get("format") == FORMAT else [f'format: found {table.get("format")!r}, wanted "{FORMAT}"']
    try:
        plan = read(Experiment, rest, file=file)
    except ConfigError as error:
        raise ConfigError(file, [*mistakes, *error.mistakes]) from None
    mistakes += _mistakes(plan)
    if mistakes:
        raise ConfigError(file, mistakes)
    return plan


def _mistakes(plan: Experiment) -> list[str]:
    found = []
    if plan.result not in RESULTS:
        found.append(f"result: found {plan.result!r}, wanted the name of a result{near(plan.result, RESULTS)}")
    for place, name in [("changed.name", plan.changed.name), *(("held_equal", name) for name in plan.held_equal)]:
        if name not in CHANGEABLE:
            found.append(f"{place}: found {name!r}, wanted one of {', '.join(CHANGEABLE)}{near(name, CHANGEABLE)}")
    if plan.changed.name in plan.held_equal:
        found.append(f"held_equal: {plan.changed.name} is what is changed; it cannot be held equal as well")
    is_number = plan.changed.name in COLUMNS and bool(COLUMNS[plan.changed.name].unit)
    levels = plan.changed.all_levels
    if bool(plan.changed.levels) == bool(plan.changed.choices) or bool(plan.changed.levels) != is_number:
        found.append(f"changed: wanted {'levels, numbers' if is_number else 'choices, words'}, and nothing else")
    elif len(set(levels)) < 2:
        found.append(f"changed: found {len(set(levels))} level, wanted at least two different ones")
    return found


def running_order(plan: Experiment) -> list[Turn]:
    """Every run, by lot within each round."""
    lot = Random(plan.seed)  # noqa: S311 - a lot, no secret
    turns: list[Turn] = []
    for number in range(1, plan.repeats + 1):
        cells = list(product(plan.boats or ("",), plan.changed.all_levels))
        lot.shuffle(cells)
        turns += [Turn(len(turns) + i, number, boat, level) for i, (boat, level) in enumerate(cells, 1)]
    return turns


def used(plan: Experiment, rows: Sequence[Row]) -> list[Row]:
    """Runs that answer the question: of its kind, counted, measured, by a boat and at a level of the plan."""
    return [row for row in rows if _counts(plan, row) and plan.changed.level_of(row) is not None]


def cells(plan: Experiment, rows: Sequence[Row]) -> list[Cell]:
    """Every boat at every level with the values of its runs that count; lower bounds apart."""
    own = used(plan, rows)

    def found(boat: str, level: str, *, floors: bool) -> tuple[float, ...]:
        return tuple(
            float(row[plan.result]) for row in own
            if plan.changed.level_of(row) == level and boat in ("", row["boat"]) and at_least(plan, row) == floors
        )  # fmt: skip

    return [
        Cell(boat, level, found(boat, level, floors=False), found(boat, level, floors=True))
        for boat, level in product(plan.boats or ("",), plan.changed.all_levels)
    ]


def at_least(plan: Experiment, row: Row) -> bool:
    """Whether the run was cut short, so that the truth is its result or more."""
    return plan.result in ("drift_mm", "coast_time_s") and row.get("drift_at_least") == "true"


def _counts(plan: Experiment, row: Row) -> bool:
    taking_part = not plan.boats or row["boat"] in plan.boats
    return row["kind"] == plan.kind and row["counted"] == "true" and bool(row.get(plan.result)) and taking_part


def warnings(plan: Experiment, rows: Sequence[Row]) -> list[str]:
    """Runs that are missing or left out, a sentence each."""
    told = []
    for cell in cells(plan, rows):
        where = ", ".join(filter(None, (cell.boat, level_told(plan, cell.level))))
        if cell.made_count < plan.repeats:
            told.append(_("{where}: {n} of {all} runs.").format(where=where, n=cell.made_count, all=plan.repeats))
    return told + _left_out(plan, [row for row in rows if row["kind"] == plan.kind])


def _left_out(plan: Experiment, rows: Sequence[Row]) -> list[str]:
    told = []
    strangers = dict.fromkeys(row["boat"] for row in rows if plan.boats and row["boat"] not in plan.boats)
    if strangers:
        told.append(_("Left out, boats that are not in the plan: {boats}.").format(boats=", ".join(strangers)))
    unknown = [
        row["run_id"] for row in rows if row["boat"] not in strangers and plan.changed.level_of(row) is None
    ]  # fmt: skip
    if unknown:
        told.append(_("Left out, at no level of the plan: {runs}.").format(runs=", ".join(unknown)))
    void, lost = (sum(row["status"] == status for row in rows) for status in ("void", "did_not_finish"))
    if void:
        told.append(
            several("{n} run void: not in the figures.", "{n} runs void: not in the figures.", void).format(n=void)
        )
    if lost:
        told.append(
            several(
                "{n} run did not finish: not in the figures.", "{n} runs did not finish: not in the figures.", lost
            ).format(n=lost)
        )
    floors = sum(at_least(plan, row) for row in used(plan, rows))
    if floors:
        told.append(
            several(
                "{n} run was cut short, by the wall or the time: at least so far.",
                "{n} runs were cut short, by the wall or the time: at least so far.", floors,
            ).format(n=floors)
        )  # fmt: skip
    return told


def level_told(plan: Experiment, level: str) -> str:
    """What is set for a run: "mass 50 g", "power fan", or a boat's name."""
    if plan.changed.name == "boat":
        return level
    unit = COLUMNS[plan.changed.name].unit
    return f"{words.name_of(plan.changed.name)} {words.with_unit(level, unit) if plan.changed.levels else level}"
