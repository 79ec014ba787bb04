"""What an experiment came to, in a sentence that says no more than its runs."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.quantity import decimals_for
from logger.results.columns import COLUMNS
from logger.study import words
from logger.study.effects import Groups, StraightLine, groups, line
from logger.study.experiment import Cell, Experiment, Row, cells, warnings


@dataclass(frozen=True, slots=True)
class Conclusion:
    """An experiment as it stands."""

    cells: tuple[Cell, ...]
    line: StraightLine | None
    """If numbers were changed."""
    groups: Groups | None
    """If words were."""
    sentence: str
    warnings: tuple[str, ...]


def conclude(plan: Experiment, rows: Sequence[Row]) -> Conclusion:
    """The cells, the analysis and the sentence.

    Args:
        plan: what was asked.
        rows: runs as they stand in runs.csv; those of other kinds are left out.
    """
    found = cells(plan, rows)
    warned = tuple(warnings(plan, rows))
    values = [value for cell in found for value in cell.values]
    levels = [cell.level for cell in found for _ in cell.values]
    several = len(plan.boats) > 1 and plan.changed.name != "boat"
    blocks = [cell.boat for cell in found for _ in cell.values] if several else []
    if plan.changed.levels:
        fitted = line([float(level) for level in levels], values, blocks)
        return Conclusion(tuple(found), fitted, None, _of_line(plan, fitted), warned)
    judged = groups(values, levels, blocks)
    by_level = {
        one: [value for value, level in zip(values, levels, strict=True) if level == one]
        for one in dict.fromkeys(levels)
    }
    return Conclusion(tuple(found), None, judged, _of_groups(plan, judged, by_level), warned)


def _of_line(plan: Experiment, fitted: StraightLine | None) -> str:
    if fitted is None:
        return "There are too few runs for a line: at least three, at two levels or more."
    step = _round_step(plan)
    unit, by = COLUMNS[plan.result].unit, COLUMNS[plan.changed.name]
    per = words.with_unit(f"{step:g}", by.unit) + ("" if by.unit not in ("1", "") else f" {by.words}")
    low, high = (step * (fitted.slope + sign * fitted.U_slope) for sign in (-1, 1))
    places = max(decimals_for(step * fitted.U_slope), 0)
    what = words.name_of(plan.result)
    if not fitted.is_clear:
        return (
            f"These {fitted.count} runs do not show that {by.words} changes the {what}: for {per} more it could be "
            f"from {_number(low, places)} to {words.with_unit(_number(high, places), unit)}."
        )
    more = "grew" if fitted.slope > 0 else "fell"
    each = f"{abs(step * fitted.slope):.{places}f} ± {step * fitted.U_slope:.{places}f}"
    low_level, high_level = min(plan.changed.levels), max(plan.changed.levels)
    between = f"between {low_level:g} and {words.with_unit(f'{high_level:g}', by.unit)}"
    return (
        f"With more {by.words} the {what} {more}: by {words.with_unit(each, unit)} for {per} more, {between}. That is "
        f"what these {fitted.count} runs say; why it is so, and what happens outside these levels, they do not tell."
    )


def _of_groups(plan: Experiment, judged: Groups | None, by_level: dict[str, list[float]]) -> str:
    by, what = COLUMNS[plan.changed.name].words, words.name_of(plan.result)
    if judged is None:
        return "There are too few runs to compare: at least two levels, and one of them with repeats."
    if not judged.is_clear:
        return f"These {judged.count} runs do not show that the {by} changes the {what}."
    means = {level: statistics.fmean(values) for level, values in by_level.items() if values}
    most, least = max(means, key=lambda k: means[k]), min(means, key=lambda k: means[k])
    return (
        f"The {what} differs with the {by} by more than chance explains: most with {most}, least with {least}. That is "
        f"what these {judged.count} runs say; why it is so they do not tell."
    )


def _number(value: float, places: int) -> str:
    return f"{value:+.{places}f}".replace("-", "\u2212")


def _round_step(plan: Experiment) -> float:
    """1, 10, 100 ... of what was changed, no more than the levels span."""
    span = max(plan.changed.levels) - min(plan.changed.levels)
    step = 1.0
    while step * 10 <= span:
        step *= 10
    while step > span:
        step /= 10
    return step
