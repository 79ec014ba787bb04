"""Before and after a rebuild: every team's runs of its first boat against those of its latest, in figures and drawn."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.quantity import Quantity
from logger.study import svg, words
from logger.study.axes import axis
from logger.study.class_folder import Class, ClassRun
from logger.study.compare import compare_all, repeats_of
from logger.study.paired import Change, change
from logger.study.tongue import _, several

WIDTH = 720.0
_LEFT, _RIGHT, _TOP, _ROW = 170.0, 690.0, 26.0, 50.0


@dataclass(frozen=True, slots=True)
class Rebuilds:
    """What came of rebuilding, for one kind of run."""

    result: str
    """Name of the result that is compared."""
    before: Mapping[str, Sequence[Quantity]]
    after: Mapping[str, Sequence[Quantity]]
    change: Change
    clear: tuple[str, ...]
    """Teams of which the two means differ by more than chance explains."""

    @property
    def better(self) -> tuple[str, ...]:
        """Teams whose mean changed the way that is wanted."""
        up = words.more_is_better(self.result)
        return tuple(team for team, by in self.change.by_team.items() if by and (by > 0) == up)

    @property
    def worse(self) -> tuple[str, ...]:
        """Teams whose mean changed the other way."""
        return tuple(team for team, by in self.change.by_team.items() if by and team not in self.better)


def rebuilds(whole: Class, kind: str) -> Rebuilds | None:
    """Each team's first boat against its latest; None if nobody has runs of both."""
    runs = [one for one in whole.of(kind=kind) if usable(one)]
    result = words.main_result(kind)  # type: ignore[arg-type]
    before, after = {}, {}
    for team in dict.fromkeys(one.team for one in whole.of(kind=kind)):
        own = [one for one in runs if one.team == team]
        versions = sorted({one.run.card.boat.version for one in whole.of(kind=kind, team=team)})
        before[team] = _values(own, versions[0], result)
        after[team] = _values(own, versions[-1], result) if len(versions) > 1 else []
    found = change(before, after)
    if found is None:
        return None
    return Rebuilds(
        result, before, after, found, tuple(team for team in found.by_team if _is_clear(before[team], after[team]))
    )


def usable(one: ClassRun) -> bool:
    """Whether a run counts and has a main result that is more than a lower bound."""
    found = one.run.trial.results.get(words.main_result(one.run.trial.kind))
    return one.counts and found is not None and not found.at_least


def _values(runs: Sequence[ClassRun], version: int, result: str) -> list[Quantity]:
    return [one.run.trial.results[result].quantity for one in runs if one.run.card.boat.version == version]


def _is_clear(before: Sequence[Quantity], after: Sequence[Quantity]) -> bool:
    if len(before) < 2 or len(after) < 2:
        return False
    (pair,) = compare_all([repeats_of("before", before), repeats_of("after", after)])
    return not pair.too_close


def told(found: Rebuilds) -> str:
    """The sentences, which say no more than the runs do: who is not clearly better or worse is too close to call."""
    count = len(found.change.by_team)
    better, worse = (sum(team in found.clear for team in side) for side in (found.better, found.worse))
    parts = [_better(found.result, better, count)]
    if worse:
        parts.append(_("{n} clearly the other way").format(n=worse))
    if count - better - worse:
        parts.append(_("{n} too close to call").format(n=count - better - worse))
    text = "; ".join(parts) + "."
    if math.isfinite(found.change.U):
        text += " " + (
            _("All teams together, the change is more than chance explains.") if found.change.is_clear
            else _("All teams together, the change is too close to call.")
        )  # fmt: skip
    if found.change.without_both:
        text += " " + _("Without runs of both boats: {teams}.").format(teams=", ".join(found.change.without_both))
    return text


def _better(result: str, better: int, count: int) -> str:
    if result == "time_s":
        sentence = several(
            "{n} of {count} team got clearly faster after the rebuild",
            "{n} of {count} teams got clearly faster after the rebuild",
            count,
        )  # fmt: skip
    elif result in ("drift_mm", "distance_mm"):
        sentence = several(
            "{n} of {count} team went clearly farther after the rebuild",
            "{n} of {count} teams went clearly farther after the rebuild", count,
        )  # fmt: skip
    else:
        sentence = several(
            "{n} of {count} team got clearly better after the rebuild",
            "{n} of {count} teams got clearly better after the rebuild",
            count,
        )  # fmt: skip
    return sentence.format(n=better, count=count)


def drawing(found: Rebuilds, *, key: str) -> str:
    """Hollow dots before, full dots after, an arrow from mean to mean; one row for each team."""
    teams = list(found.change.by_team)
    values = [q.value for team in teams for q in (*found.before[team], *found.after[team])]
    bottom = _TOP + _ROW * len(teams)
    low, high = min(values), max(values)
    across = axis(low, high, start_px=_LEFT, end_px=_RIGHT, about_count=7, from_zero=low < 0.5 * high)
    unit = found.before[teams[0]][0].unit
    parts = [svg.tag("rect", x=_LEFT, y=_TOP, width=_RIGHT - _LEFT, height=bottom - _TOP, class_="paper")]
    for v in across.ticks():
        parts.append(svg.tag("line", x1=across.px(v), x2=across.px(v), y1=_TOP, y2=bottom, class_="square"))
        parts.append(svg.words(across.px(v), bottom + 20, across.label(v), class_="tick", text_anchor="middle"))
    for i, team in enumerate(teams):
        y = _TOP + _ROW * (i + 0.5)
        first, last = (statistics.fmean(q.value for q in side[team]) for side in (found.before, found.after))
        parts.append(svg.words(_LEFT - 12, y + 6, team, class_="boat-name", text_anchor="end"))
        parts += [
            svg.tag("circle", cx=across.px(q.value), cy=y - 9, r=6, class_="run before") for q in found.before[team]
        ]
        parts += [svg.tag("circle", cx=across.px(q.value), cy=y + 9, r=6, class_="run") for q in found.after[team]]
        parts.append(_arrow((across.px(first), y - 9), (across.px(last), y + 9)))
    name = f"{words.name_of(found.result)} ({words.unit_words(unit)})"
    parts.append(svg.words(_RIGHT, bottom + 44, name, class_="axis-name", text_anchor="end"))
    summary = "; ".join(
        f"{team}: {statistics.fmean(q.value for q in found.before[team]):.2f} -> "
        f"{statistics.fmean(q.value for q in found.after[team]):.2f}" for team in teams
    )  # fmt: skip
    return svg.picture(
        WIDTH,
        bottom + 54,
        *parts,
        title=_("Before and after the rebuild"),
        summary=f"{summary} {unit}.",
        key=key,
        class_="dots",
    )


def _arrow(start: tuple[float, float], end: tuple[float, float]) -> str:
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = math.hypot(dx, dy) or 1.0
    ux, uy = dx / length, dy / length
    tip = [(end[0] - 9 * ux - 5 * uy * s, end[1] - 9 * uy + 5 * ux * s) for s in (1, -1)]
    return svg.path([start, end], class_="more") + svg.path([tip[0], end, tip[1]], class_="more")
