"""Before and after a rebuild: every team's runs of its first boat against those of its latest, in figures and drawn.

Runs that a wall cut short take part as what they are: at least so far (compare.py). Left out, they would turn a boat
that reaches the wall twice and fails once into one that has become worse.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from logger.results.trial import Result
from logger.study import svg, words
from logger.study.axes import Axis, axis
from logger.study.class_folder import Class, ClassRun
from logger.study.compare import Comparison, compare_each, repeats_of_results
from logger.study.paired import Change, change
from logger.study.tongue import N_, _, several

WIDTH = 720.0
_LEFT, _RIGHT, _TOP, _ROW = 170.0, 690.0, 26.0, 50.0


@dataclass(frozen=True, slots=True)
class Rebuilds:
    """What came of rebuilding, for one kind of run."""

    result: str
    """Name of the result that is compared."""
    before: Mapping[str, Sequence[Result]]
    after: Mapping[str, Sequence[Result]]
    change: Change
    pairs: Mapping[str, Comparison]
    """After less before, of the teams that have both; at 95 % for all of them together."""

    @property
    def clear(self) -> tuple[str, ...]:
        """Teams of which the two means differ by more than chance explains."""
        return tuple(team for team, pair in self.pairs.items() if not pair.too_close)

    @property
    def better(self) -> tuple[str, ...]:
        """Teams whose mean changed the way that is wanted."""
        up = words.more_is_better(self.result)
        return tuple(team for team, by in self.change.by_team.items() if by and (by > 0) == up)

    @property
    def worse(self) -> tuple[str, ...]:
        """Teams whose mean changed the other way."""
        return tuple(team for team, by in self.change.by_team.items() if by and team not in self.better)

    def floors_count(self, team: str) -> int:
        """How many of a team's runs were cut short, before and after together."""
        return sum(one.at_least for one in (*self.before[team], *self.after[team]))


def rebuilds(whole: Class, kind: str) -> Rebuilds | None:
    """Each team's first boat against its latest; None if nobody has runs of both."""
    result = words.main_result(kind)  # type: ignore[arg-type]
    runs = [one for one in whole.of(kind=kind) if one.counts and result in one.run.trial.results]
    before, after = {}, {}
    for team in dict.fromkeys(one.team for one in whole.of(kind=kind)):
        own = [one for one in runs if one.team == team]
        versions = sorted({one.run.card.boat.version for one in whole.of(kind=kind, team=team)})
        before[team] = _results(own, versions[0], result)
        after[team] = _results(own, versions[-1], result) if len(versions) > 1 else []
    first, last = (
        {team: repeats_of_results(name, own, result) if own else None for team, own in side.items()}
        for name, side in (("before", before), ("after", after))
    )
    found = change(first, last)
    if found is None:
        return None
    both = [(after_it, before_it) for team in found.by_team if (after_it := last[team]) and (before_it := first[team])]
    return Rebuilds(result, before, after, found, dict(zip(found.by_team, compare_each(both), strict=True)))


def usable(one: ClassRun) -> bool:
    """Whether a run counts and has a main result that is more than a lower bound."""
    found = one.run.trial.results.get(words.main_result(one.run.trial.kind))
    return one.counts and found is not None and not found.at_least


def _results(runs: Sequence[ClassRun], version: int, result: str) -> list[Result]:
    return [one.run.trial.results[result] for one in runs if one.run.card.boat.version == version]


def told(found: Rebuilds) -> str:
    """The sentences, which say no more than the runs do: who is not clearly better or worse is too close to call."""
    count = len(found.change.by_team)
    better, worse = (sum(team in found.clear for team in side) for side in (found.better, found.worse))
    open_, single, cut = _not_told(found)
    parts = [_better(found.result, better, count)]
    if worse:
        parts.append(_("{n} clearly the other way").format(n=worse))
    if open_:
        parts.append(_("{n} too close to call").format(n=open_))
    if cut:
        parts.append(_("{n} not to be told, as runs were cut short").format(n=cut))
    if single:
        parts.append(_("{n} not to be told from one run").format(n=single))
    return " ".join(["; ".join(parts) + ".", *_of_floors(found), *_together(found), *_without(found)])


def _not_told(found: Rebuilds) -> tuple[int, int, int]:
    """How many teams are too close to call; have one run only, before or after; were cut short so that nobody knows."""
    untold = [team for team, pair in found.pairs.items() if math.isinf(pair.U)]
    single = sum(min(len(found.before[team]), len(found.after[team])) < 2 for team in untold)
    return len(found.pairs) - len(found.clear) - len(untold), single, len(untold) - single


def _of_floors(found: Rebuilds) -> list[str]:
    cut = sum(found.floors_count(team) for team in found.pairs)
    if not cut:
        return []
    made = sum(len(side[team]) for team in found.pairs for side in (found.before, found.after))
    return [
        several(
            "{n} of {all} run was cut short and counts for so much “at least”.",
            "{n} of {all} runs were cut short and count for so much “at least”.", cut,
        ).format(n=cut, all=made)
    ]  # fmt: skip


def _together(found: Rebuilds) -> list[str]:
    """What became of all teams together, and which way; nothing of a single team."""
    if len(found.pairs) < 2:
        return []
    if math.isinf(found.change.U):
        return [_("All teams together: not to be told, as runs were cut short.")]
    if not found.change.is_clear:
        return [_("All teams together, the change is too close to call.")]
    more, less = _WAYS.get(found.result, _WAYS[""])
    return [_(more if found.change.mean.value > 0 else less)]


_WAYS = {
    "time_s": (
        N_("All teams together got slower, by more than chance explains."),
        N_("All teams together got faster, by more than chance explains."),
    ),
    "drift_mm": (
        N_("All teams together went farther, by more than chance explains."),
        N_("All teams together went less far, by more than chance explains."),
    ),
    "": (
        N_("All teams together did more than before, by more than chance explains."),
        N_("All teams together did less than before, by more than chance explains."),
    ),
}
"""Result -> what all teams together did if they have more of it after the rebuild, and if they have less."""
_WAYS["distance_mm"] = _WAYS["drift_mm"]


def _without(found: Rebuilds) -> list[str]:
    missing = found.change.without_both
    return [_("Without runs of both boats: {teams}.").format(teams=", ".join(missing))] if missing else []


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
    """Hollow dots before, full dots after, an arrow from mean to mean; one row for each team.

    A run that was cut short has an arrow head of its own: at least so far. Its team has no means to go from or to.
    """
    teams = list(found.change.by_team)
    values = [one.quantity.value for team in teams for one in (*found.before[team], *found.after[team])]
    bottom = _TOP + _ROW * len(teams)
    low, high = min(values), max(values)
    across = axis(low, high, start_px=_LEFT, end_px=_RIGHT, about_count=7, from_zero=low < 0.5 * high)
    unit = found.before[teams[0]][0].quantity.unit
    parts = [svg.tag("rect", x=_LEFT, y=_TOP, width=_RIGHT - _LEFT, height=bottom - _TOP, class_="paper")]
    for v in across.ticks():
        parts.append(svg.tag("line", x1=across.px(v), x2=across.px(v), y1=_TOP, y2=bottom, class_="square"))
        parts.append(svg.words(across.px(v), bottom + 20, across.label(v), class_="tick", text_anchor="middle"))
    for i, team in enumerate(teams):
        y = _TOP + _ROW * (i + 0.5)
        parts.append(svg.words(_LEFT - 12, y + 6, team, class_="boat-name", text_anchor="end"))
        parts += [_dot(across, y - 9, one, "run before") for one in found.before[team]]
        parts += [_dot(across, y + 9, one, "run") for one in found.after[team]]
        if not found.floors_count(team):
            first, last = _mean(found.before[team]), _mean(found.after[team])
            parts.append(_arrow((across.px(first), y - 9), (across.px(last), y + 9)))
    name = f"{words.name_of(found.result)} ({words.unit_words(unit)})"
    parts.append(svg.words(_RIGHT, bottom + 44, name, class_="axis-name", text_anchor="end"))
    summary = "; ".join(f"{team}: {_in_short(found.before[team])} -> {_in_short(found.after[team])}" for team in teams)
    return svg.picture(
        WIDTH,
        bottom + 54,
        *parts,
        title=_("Before and after the rebuild"),
        summary=f"{summary} {unit}.",
        key=key,
        class_="dots",
    )


def _dot(across: Axis, y: float, one: Result, kind: str) -> str:
    x = across.px(one.quantity.value)
    more = svg.path([(x + 9, y - 5), (x + 16, y), (x + 9, y + 5)], class_="more") if one.at_least else ""
    return svg.tag("circle", cx=x, cy=y, r=6, class_=kind) + more


def _mean(runs: Sequence[Result]) -> float:
    return statistics.fmean(one.quantity.value for one in runs)


def _in_short(runs: Sequence[Result]) -> str:
    text = f"{_mean(runs):.2f}"
    return _("at least {value}").format(value=text) if any(one.at_least for one in runs) else text


def _arrow(start: tuple[float, float], end: tuple[float, float]) -> str:
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = math.hypot(dx, dy) or 1.0
    ux, uy = dx / length, dy / length
    tip = [(end[0] - 9 * ux - 5 * uy * s, end[1] - 9 * uy + 5 * ux * s) for s in (1, -1)]
    return svg.path([start, end], class_="more") + svg.path([tip[0], end, tip[1]], class_="more")
