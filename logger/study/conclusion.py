"""What an experiment came to, in a sentence that says no more than its runs."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.quantity import decimals_for
from logger.results.columns import COLUMNS
from logger.study import words
from logger.study.effects import Groups, StraightLine, groups, line
from logger.study.experiment import Cell, Experiment, Row, cells, level_told, warnings
from logger.study.tongue import _


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
    levels = [cell.level for cell in found for _value in cell.values]
    several = len(plan.boats) > 1 and plan.changed.name != "boat"
    blocks = [cell.boat for cell in found for _value in cell.values] if several else []
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
        return _("There are too few runs for a line: at least three, at two levels or more.")
    step = _round_step(plan)
    unit, by_unit, by = COLUMNS[plan.result].unit, COLUMNS[plan.changed.name].unit, words.name_of(plan.changed.name)
    per = words.with_unit(f"{step:g}", by_unit) + ("" if by_unit not in ("1", "") else f" {by}")
    low, high = (step * (fitted.slope + sign * fitted.U_slope) for sign in (-1, 1))
    finest = COLUMNS[plan.result].decimals
    places = min(max(decimals_for(step * fitted.U_slope), 0), finest)
    what = words.name_of(plan.result)
    if not fitted.is_clear:
        return _(
            "These {n} runs do not show that {by} changes the {what}: for {per} more it could be from {low} to {high}."
        ).format(
            n=fitted.count, by=by, what=what, per=per, low=_number(low, places),
            high=words.with_unit(_number(high, places), unit),
        )  # fmt: skip
    each = f"{abs(step * fitted.slope):.{places}f} ± {max(step * fitted.U_slope, 10.0**-places):.{places}f}"
    low_level, high_level = min(plan.changed.levels), max(plan.changed.levels)
    sentence = (
        _("With more {by} the {what} grew: by {each} for {per} more, between {least} and {most}.")
        if fitted.slope > 0
        else _("With more {by} the {what} fell: by {each} for {per} more, between {least} and {most}.")
    )
    told = sentence.format(
        by=by, what=what, each=words.with_unit(each, unit), per=per, least=f"{low_level:g}",
        most=words.with_unit(f"{high_level:g}", by_unit),
    )  # fmt: skip
    return told + " " + _(
        "That is what these {n} runs say; why it is so, and what happens outside these levels, they do not tell."
    ).format(n=fitted.count)  # fmt: skip


def _of_groups(plan: Experiment, judged: Groups | None, by_level: dict[str, list[float]]) -> str:
    by, what = words.name_of(plan.changed.name), words.name_of(plan.result)
    if judged is None:
        return _("There are too few runs to compare: at least two levels, and one of them with repeats.")
    if not judged.is_clear:
        return _("These {n} runs do not show that the {by} changes the {what}.").format(
            n=judged.count, by=by, what=what
        )
    means = {level: statistics.fmean(values) for level, values in by_level.items() if values}
    most, least = max(means, key=lambda k: means[k]), min(means, key=lambda k: means[k])
    return _(
        "The {what} differs with the {by} by more than chance explains: most with {most}, least with {least}. That is "
        "what these {n} runs say; why it is so they do not tell."
    ).format(what=what, by=by, most=most, least=least, n=judged.count)


def in_short(plan: Experiment, found: Conclusion) -> str:
    """The conclusion for those who do not read ± yet; no more than the long one says."""
    by, what = words.name_of(plan.changed.name), words.name_of(plan.result)
    if found.line is not None and found.line.is_clear:
        if found.line.slope > 0:
            return _("More {by}: more {what}. So it was in our {n} runs.").format(by=by, what=what, n=found.line.count)
        return _("More {by}: less {what}. So it was in our {n} runs.").format(by=by, what=what, n=found.line.count)
    if found.groups is not None and found.groups.is_clear:
        by_level: dict[str, list[float]] = {}
        for cell in found.cells:
            by_level.setdefault(cell.level, []).extend(cell.values)
        most = max(by_level, key=lambda level: statistics.fmean(by_level[level] or [-math.inf]))
        return _("Most {what}: {level}. So it was in our {n} runs.").format(
            what=what, level=level_told(plan, most), n=found.groups.count
        )
    if found.line is None and found.groups is None:
        return _("There are too few runs yet.")
    return _("Too close to call. Our runs do not tell.")


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
