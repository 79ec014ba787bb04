"""An experiment as a class has carried it out: what was to be made, what was made, and what it came to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from logger.results.columns import COLUMNS
from logger.study import words
from logger.study.class_folder import Class
from logger.study.class_tables import run_rows
from logger.study.conclusion import Conclusion, conclude
from logger.study.dots import Dot, dot_plot
from logger.study.experiment import Cell, Experiment, Turn, at_least, level_told, running_order, used
from logger.study.experiment_file import KeptPlan
from logger.study.tongue import _


@dataclass(frozen=True, slots=True)
class Point:
    """One run of the experiment."""

    boat: str
    level: str
    value: float
    """In the unit of the result."""
    at_least: bool
    """Cut short: so much or more."""


@dataclass(frozen=True, slots=True)
class ExperimentView:
    """All that its page shows."""

    name: str
    plan: Experiment
    turns: tuple[Turn, ...]
    found: Conclusion
    points: tuple[Point, ...]
    made_count: int
    """Runs that count, of those wanted: a plain number."""
    wanted_count: int
    """Runs that the plan asks for: a plain number."""

    @property
    def changed(self) -> str:
        """What is changed, in words, with its levels: "mass: 50, 100, 150 g"."""
        plan = self.plan
        unit = COLUMNS[plan.changed.name].unit
        return f"{words.name_of(plan.changed.name)}: {words.with_unit(', '.join(plan.changed.all_levels), unit)}"

    @property
    def held(self) -> str:
        """What is held equal, in words."""
        return ", ".join(words.name_of(name) for name in self.plan.held_equal)

    @property
    def result(self) -> str:
        """What answers it, with its unit."""
        unit = words.unit_words(COLUMNS[self.plan.result].unit)
        return f"{words.name_of(self.plan.result)} ({unit})" if unit else words.name_of(self.plan.result)

    @property
    def is_clear(self) -> bool:
        """Whether the runs say anything."""
        return self.found.is_clear

    def where(self, cell: Cell | Turn) -> str:
        """A boat and what is set for it."""
        return ", ".join(filter(None, (cell.boat, level_told(self.plan, cell.level))))


def experiment_views(whole: Class) -> Mapping[str, ExperimentView]:
    """Every experiment of a class that can be read, by name; those of which the class made no such run at the end."""
    if not whole.plans:
        return {}
    rows = run_rows(whole)
    seen = [view_of(kept, rows) for kept in whole.plans if kept.plan is not None]
    return {view.name: view for view in sorted(seen, key=lambda view: not view.points)}


def view_of(kept: KeptPlan, rows: list[dict[str, str]]) -> ExperimentView:
    """An experiment with these runs. ValueError: there is no plan in it."""
    plan = kept.plan
    if plan is None:
        raise ValueError(f"{kept.name}: {kept.trouble}")
    found = conclude(plan, rows)
    made = sum(min(cell.made_count, plan.repeats) for cell in found.cells)
    points = tuple(
        Point(row["boat"], plan.changed.level_of(row) or "", float(row[plan.result]), at_least(plan, row))
        for row in used(plan, rows)
    )
    return ExperimentView(
        kept.name, plan, tuple(running_order(plan)), found, points, made, plan.repeats * len(found.cells)
    )


def level_drawing(view: ExperimentView) -> str:
    """Every run as a dot, levels as rows; empty where there is none."""
    if not view.points:
        return ""
    by_level: dict[str, list[float]] = {}
    floors: dict[str, int] = {}
    for cell in view.found.cells:
        level = level_told(view.plan, cell.level)
        by_level.setdefault(level, []).extend(cell.values)
        floors[level] = floors.get(level, 0) + len(cell.floors)
    dots = [
        Dot(level_told(view.plan, p.level), p.value, 0.0, counted=not p.at_least, at_least=p.at_least, note=p.boat)
        for p in view.points
    ]
    # the mean of what the wall has left would be too small
    means = {level: sum(values) / len(values) for level, values in by_level.items() if values and not floors[level]}
    told = "; ".join(f"{level}: {len(values) + floors[level]}" for level, values in by_level.items())
    title = _("Every run as a dot: {what}").format(what=view.result)
    return dot_plot(dots, means, name=view.result, key=f"levels-{view.name}", title=title, summary=f"{told}.")
