"""What an experiment came to, in a sentence that says no more than its runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.quantity import decimals_for
from logger.results.columns import COLUMNS
from logger.study import words
from logger.study.changed_beside import Other, of_order, others, went_along
from logger.study.effects import Groups, StraightLine, groups
from logger.study.experiment import Cell, Experiment, Row, at_least, cells, level_told, used, warnings
from logger.study.levels import Case, Judged, judged
from logger.study.tongue import _
from logger.study.trend import Measured, Through, Trend, begun, cases_told, trend, whose


@dataclass(frozen=True, slots=True)
class Conclusion:
    """An experiment as it stands."""

    cells: tuple[Cell, ...]
    trend: Trend | None
    """If numbers were changed."""
    judged: Judged | None
    """If words were, and there are runs enough."""
    with_it: tuple[str, ...]
    """What else may have done it, in words."""
    sentence: str
    warnings: tuple[str, ...]

    @property
    def line(self) -> StraightLine | None:
        """If numbers were changed, and no run was cut short."""
        return self.trend.line if self.trend is not None else None

    @property
    def groups(self) -> Groups | None:
        """The test of all levels together, if words were changed."""
        return self.judged.together if self.judged is not None else None

    @property
    def is_clear(self) -> bool:
        """Whether runs say that what was changed matters."""
        shown = self.trend.sign != 0 if self.trend is not None else self.judged is not None and self.judged.is_clear
        return shown and not self.with_it


def conclude(plan: Experiment, rows: Sequence[Row]) -> Conclusion:
    """The cells, the analysis and the sentence.

    Args:
        plan: what was asked.
        rows: runs as they stand in runs.csv; those of other kinds are left out.
    """
    own, beside = used(plan, rows), others(plan, rows)
    warned = (*warnings(plan, rows), *_beside_told(plan, own, beside), *of_order(plan, rows))
    found = tuple(cells(plan, rows))
    if plan.changed.levels:
        runs = [_measured(plan, row) for row in own]
        seen = trend(runs)

        def shows(alike: Sequence[str], number: Sequence[float]) -> bool:
            # runs of a boat are no cases of their own, and a number beside is taken out of exact values only
            if seen.through == "boats" or (number and seen.floors_count):
                return False
            return trend(runs, alike=alike, beside=number).sign == seen.sign

        with_it = tuple(went_along(plan, rows, beside, shows)) if seen.sign else ()
        return Conclusion(found, seen, None, with_it, _of_line(plan, seen, with_it), warned)
    through, cases = _cases(plan, own)
    seen_levels = judged(cases, step=_step(plan))

    def still_shows(alike: Sequence[str], number: Sequence[float]) -> bool:
        blocks = alike or _halves(number)
        again = groups(
            [float(row[plan.result]) for row in own], [plan.changed.level_of(row) or "" for row in own],
            [f"{row['boat'] if through == 'each' else ''}\n{block}" for row, block in zip(own, blocks, strict=True)],
        )  # fmt: skip
        exact = not any(at_least(plan, row) for row in own)
        return through != "boats" and exact and again is not None and again.is_clear

    is_clear = seen_levels is not None and seen_levels.is_clear
    with_it = tuple(went_along(plan, rows, beside, still_shows)) if is_clear else ()
    whom = cases_told(through, len(own), len({row["boat"] for row in own}))
    lost = _lost(sum(at_least(plan, row) for row in own), len(own))
    return Conclusion(found, None, seen_levels, with_it, _of_groups(plan, seen_levels, with_it, whom, lost), warned)


def _beside_told(plan: Experiment, own: Sequence[Row], beside: Sequence[Other]) -> list[str]:
    boats = list(dict.fromkeys(row["boat"] for row in own))
    if len(boats) < 2 or len(plan.boats) > 1 or plan.changed.name in ("boat", "material"):
        return [one.told for one in beside]
    return [
        _("The plan is for one boat; the runs are of {n}: {boats}.").format(n=len(boats), boats=", ".join(boats)),
        *(one.told for one in beside if one.name != "boat"),
    ]


def _measured(plan: Experiment, row: Row) -> Measured:
    level = float(plan.changed.level_of(row) or "nan")
    return Measured(level, float(row[plan.result]), row["boat"], at_least(plan, row))


def _cases(plan: Experiment, own: Sequence[Row]) -> tuple[Through, list[Case]]:
    """Runs; boats where each is at one level only, as what they are made of; runs beside those of their boat else."""
    runs = [
        Case(plan.changed.level_of(row) or "", float(row[plan.result]), row["boat"], at_least(plan, row)) for row in own
    ]
    boats = dict.fromkeys(run.block for run in runs)
    if len(boats) < 2 or plan.changed.name == "boat":
        return "runs", [Case(run.level, run.value, "", run.at_least) for run in runs]
    levels_of = {boat: {run.level for run in runs if run.block == boat} for boat in boats}
    if max(map(len, levels_of.values())) > 1:
        return "each", runs
    means = []
    for boat in boats:
        theirs = [run for run in runs if run.block == boat]
        mean = sum(run.value for run in theirs) / len(theirs)
        means.append(Case(theirs[0].level, mean, "", any(run.at_least for run in theirs)))
    return "boats", means


def _step(plan: Experiment) -> float:
    return 10.0 ** -COLUMNS[plan.result].decimals


def _halves(number: Sequence[float]) -> list[str]:
    """The lower and the upper half of a number that changed from run to run."""
    middle = sorted(number)[len(number) // 2]
    return ["low" if one < middle else "high" for one in number]


def _of_line(plan: Experiment, found: Trend, with_it: Sequence[str]) -> str:
    if not found.is_told:
        return _("There are too few runs for a line: at least three, at two levels or more.")
    by, what = words.name_of(plan.changed.name), words.name_of(plan.result)
    if found.sign and with_it:
        told = (
            _("With more {by} the {what} grew in {those}, but with it changed too: {others}.")
            if found.sign > 0
            else _("With more {by} the {what} fell in {those}, but with it changed too: {others}.")
        )
        return f"{told.format(by=by, what=what, those=whose(found), others=', '.join(with_it))} {_which()}"
    if found.way is not None:
        return _of_way(by, what, found)
    return _of_slope(plan, found)


def _which() -> str:
    return _("Which of them did it, these runs do not tell.")


def _of_way(by: str, what: str, found: Trend) -> str:
    """Where runs were cut short: the way, if it is clear, and never by how much."""
    lost = _lost(found.floors_count, found.runs_count)
    if not found.sign:
        told = _("Whether {by} changes the {what} is not to be told.").format(by=by, what=what)
        return f"{told} {lost}"
    told = (
        _("With more {by} the {what} grew in {those}. By how much is not to be told.")
        if found.sign > 0
        else _("With more {by} the {what} fell in {those}. By how much is not to be told.")
    )
    return f"{told.format(by=by, what=what, those=whose(found))} {lost}"


def _lost(floors_count: int, runs_count: int) -> str:
    if not floors_count:
        return ""
    return _(
        "{n} of {all} runs were cut short, by the wall or the time. Make the way longer, or start slower."
    ).format(n=floors_count, all=runs_count)  # fmt: skip


def _of_slope(plan: Experiment, found: Trend) -> str:
    fitted = found.line
    assert fitted is not None  # noqa: S101 - so it is where there is no way instead
    step = _round_step(plan)
    unit, by_unit, by = COLUMNS[plan.result].unit, COLUMNS[plan.changed.name].unit, words.name_of(plan.changed.name)
    per = words.with_unit(f"{step:g}", by_unit) + ("" if by_unit not in ("1", "") else f" {by}")
    low, high = (step * (fitted.slope + sign * fitted.U_slope) for sign in (-1, 1))
    finest = COLUMNS[plan.result].decimals
    places = min(max(decimals_for(step * fitted.U_slope), 0), finest)
    what = words.name_of(plan.result)
    if not fitted.is_clear:
        return begun(_(
            "{those} do not show that {by} changes the {what}: for {per} more it could be from {low} to {high}."
        ).format(
            those=whose(found), by=by, what=what, per=per, low=_number(low, places),
            high=words.with_unit(_number(high, places), unit),
        ))  # fmt: skip
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
        "That is what {those} say; why it is so, and what happens outside these levels, they do not tell."
    ).format(those=whose(found))  # fmt: skip


def _of_groups(plan: Experiment, found: Judged | None, with_it: Sequence[str], whom: str, lost: str) -> str:
    by, what = words.name_of(plan.changed.name), words.name_of(plan.result)
    if found is None:
        return _("There are too few runs to compare: at least two levels, each with repeats.")
    if not found.is_clear:
        told = begun(_("{those} do not show that the {by} changes the {what}.").format(those=whom, by=by, what=what))
        return f"{told} {lost}".strip()
    told = _("The {what} differs with the {by} by more than chance explains: {pairs}.").format(
        what=what, by=by, pairs="; ".join(_pairs(found))
    )
    if with_it:
        also = _("But with it changed too: {others}.").format(others=", ".join(with_it))
        return f"{told} {also} {_which()}"
    return told + " " + _("That is what {those} say; why it is so they do not tell.").format(those=whom)


def _pairs(found: Judged) -> list[str]:
    """Which is clearly more than which."""
    less: dict[str, list[str]] = {}
    for more, other in found.more:
        less.setdefault(more, []).append(other)
    return [
        _("more with {more} than with {less}").format(more=more, less=", ".join(own)) for more, own in less.items()
    ]  # fmt: skip


def in_short(plan: Experiment, found: Conclusion) -> str:
    """The conclusion for those who do not read ± yet; no more than the long one says."""
    by, what = words.name_of(plan.changed.name), words.name_of(plan.result)
    if found.with_it:
        return _("More things changed: {by}, {others}. Our runs do not tell which one it was.").format(
            by=by, others=", ".join(found.with_it)
        )
    if found.trend is not None and found.trend.sign:
        told = _("More {by}: more {what}.") if found.trend.sign > 0 else _("More {by}: less {what}.")
        return f"{told.format(by=by, what=what)} {_so_it_was(found.trend.runs_count)}"
    if found.judged is not None and found.judged.is_clear:
        more, less = found.judged.more[0]
        told = _("{what}: more with {more} than with {less}.").format(
            what=what, more=level_told(plan, more), less=level_told(plan, less)
        )
        return f"{begun(told)} {_so_it_was(sum(cell.made_count for cell in found.cells))}"
    if found.judged is None and (found.trend is None or not found.trend.is_told):
        return _("There are too few runs yet.")
    return _("Too close to call. Our runs do not tell.")


def _so_it_was(count: int) -> str:
    return _("So it was in our {n} runs.").format(n=count)


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
