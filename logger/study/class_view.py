"""The class in a drawing, a table and one careful sentence per kind of run."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.quantity import Quantity, decimals_for
from logger.study import words
from logger.study.compare import Comparison, Repeats, compare_all, grouped, repeats_of
from logger.study.dots import Dot, dot_plot
from logger.study.leaf import Run
from logger.study.ranking import places, repeats_needed
from logger.study.scatter import Names, Point, scatter_plot
from logger.study.tongue import _, several

_COUNTED = ("valid", "freed")
_SPEED = "speed_at_line_m_per_s"


@dataclass(frozen=True, slots=True)
class ClassRow:
    """One boat in the table."""

    boat: str
    count: int
    mean: str
    spread: str
    rig: str


@dataclass(frozen=True, slots=True)
class ClassView:
    """What the template shows of one kind of run."""

    key: str
    heading: str
    verdict: str
    is_open: bool
    """Whether anything between the boats is too close to call."""
    drawing: str
    caption: str
    scatter: str
    """The result against the speed at the line, where every run has both; else empty."""
    rows: tuple[ClassRow, ...]
    pairs: tuple[str, ...]


def class_views(runs: Sequence[Run]) -> list[ClassView]:
    """One view per kind of run that has a main result in at least two runs."""
    kinds = dict.fromkeys(run.trial.kind for run in runs)
    views = [_view([run for run in runs if run.trial.kind == kind]) for kind in kinds]
    return [view for view in views if view is not None]


def _view(runs: Sequence[Run]) -> ClassView | None:
    kind = runs[0].trial.kind
    name = words.main_result(kind)
    measured = [run for run in runs if name in run.trial.results]
    counted = [run for run in measured if run.trial.status in _COUNTED]
    if len(measured) < 2 or not counted:
        return None
    by_boat = grouped([(run.card.boat.name, run.trial.results[name].quantity) for run in counted])
    floors_of = Counter(run.card.boat.name for run in counted if run.trial.results[name].at_least)
    boats = [repeats_of(boat, quantities, floors_count=floors_of[boat]) for boat, quantities in by_boat.items()]
    comparisons = compare_all(boats)
    void = sum(run.trial.status not in _COUNTED for run in measured)
    floors = sum(run.trial.results[name].at_least for run in measured)
    return ClassView(
        key=f"class-{kind}",
        heading=_("The {kinds} of the class, by {what}").format(
            kinds=words.runs_of_kind(kind), what=words.name_of(name)
        ),
        verdict=f"{_verdict(boats, comparisons)} {_ahead(boats, comparisons, name)}".strip(),
        is_open=not comparisons or any(pair.too_close for pair in comparisons),
        drawing=_drawing(measured, boats, name, f"class-{kind}-dots"),
        caption=_caption(floors_count=floors, void_count=void),
        scatter=_scatter(measured, name, f"class-{kind}-scatter"),
        rows=tuple(_row(boat) for boat in boats),
        pairs=tuple(
            _pair(pair, name, boats) for pair in comparisons if math.isfinite(pair.U) or _kept_open(pair, boats)
        ),
    )


def _drawing(measured: Sequence[Run], boats: Sequence[Repeats], name: str, key: str) -> str:
    dots = [
        Dot(
            boat=run.card.boat.name,
            value=run.trial.results[name].quantity.value,
            U=run.trial.results[name].quantity.U,
            counted=run.trial.status in _COUNTED,
            at_least=run.trial.results[name].at_least,
        )
        for run in measured
    ]
    unit = boats[0].mean.unit
    summary = "; ".join(
        several("{boat}: {n} run, mean {mean}", "{boat}: {n} runs, mean {mean}", boat.count).format(
            boat=boat.boat, n=boat.count, mean=mean_told(boat)
        )
        for boat in boats
    )
    return dot_plot(
        dots,
        {boat.boat: boat.mean.value for boat in boats if boat.count > 1 and not boat.floors_count},
        name=f"{words.name_of(name)} ({words.unit_words(unit)})",
        key=key,
        title=_("Every run as a dot: {what}").format(what=words.name_of(name)),
        summary=f"{summary}.",
    )


def _scatter(measured: Sequence[Run], name: str, key: str) -> str:
    """How far a boat drifts says nothing without how fast it came."""
    runs = [run for run in measured if run.trial.status in _COUNTED and _SPEED in run.trial.results]
    if name != "drift_mm" or len(runs) < 2:
        return ""
    points = [
        Point(
            boat=run.card.boat.name,
            along=_value_and_doubt(run.trial.results[_SPEED].quantity),
            upright=_value_and_doubt(run.trial.results[name].quantity),
            at_least=run.trial.results[name].at_least,
        )
        for run in runs
    ]
    told = (f"{p.boat}: {p.along[0]:.2f} metres per second, {p.upright[0]:.0f} millimetres" for p in points)
    names = Names(
        along=f"{words.name_of(_SPEED)} (metres per second)",
        upright=f"{words.name_of(name)} (millimetres)",
        title="Drift against the speed at the line",
        summary="; ".join(told) + ".",
    )
    return scatter_plot(points, names, key=key)


def _value_and_doubt(quantity: Quantity) -> tuple[float, float]:
    return quantity.value, quantity.U


def mean_told(boat: Repeats) -> str:
    """The mean, to the place that repeats and rig together allow."""
    shown = max(decimals_for(boat.mean_with_spread.u, 1), 0)
    text = words.with_unit(f"{boat.mean.value:.{shown}f}", boat.mean.unit)
    return _("at least {value}").format(value=text) if boat.floors_count else text


def _row(boat: Repeats) -> ClassRow:
    spread = _("one run: not known") if boat.spread is None else words.doubt_alone(boat.spread, boat.mean.unit)
    return ClassRow(boat.boat, boat.count, mean_told(boat), spread, f"± {words.give_or_take(boat.mean)}")


def _kept_open(pair: Comparison, boats: Sequence[Repeats]) -> bool:
    """Whether it is the floors that leave the two untold, not a want of repeats."""
    own = [boat for boat in boats if boat.boat in (pair.first, pair.second)]
    return bool(_floors(pair, boats)) and all(boat.spread is not None for boat in own)


def _floors(pair: Comparison, boats: Sequence[Repeats]) -> list[str]:
    """Those of the two that were cut short."""
    return [boat.boat for boat in boats if boat.boat in (pair.first, pair.second) and boat.floors_count]


def _pair(pair: Comparison, name: str, boats: Sequence[Repeats]) -> str:
    floors = _floors(pair, boats)
    both = {"first": pair.first, "second": pair.second}
    if not math.isfinite(pair.U):
        cut = several(
            "{who} was cut short, so it is known only that it is at least as much as measured.",
            "{who} were cut short, so it is known only that it is at least as much as measured.", len(floors),
        ).format(who=_and(floors))  # fmt: skip
        return _("{first} and {second}: not to be told.").format(**both) + " " + cut
    unit = pair.difference.unit
    gap = words.to_the_place_of(abs(pair.difference.value), pair.U, unit)
    allowed = words.doubt_alone(pair.U, unit)
    if pair.too_close:
        first, second = (next(b for b in boats if b.boat == one) for one in (pair.first, pair.second))
        wanted = None if floors else repeats_needed(first, second)
        text = _(
            "{first} and {second}: too close to call ({gap} apart, and it could be chance up to {allowed})."
        ).format(**both, gap=gap, allowed=allowed)
        if wanted is None or wanted <= first.count:
            return text
        return text + " " + _("About {n} runs of each would probably tell.").format(n=wanted)
    more, less = (pair.first, pair.second) if pair.difference.value > 0 else (pair.second, pair.first)
    apart = _("at least {value}").format(value=gap) if floors else gap
    return _("{more} {did} {less} ({gap} apart; chance would explain up to {allowed}).").format(
        more=more, did=words.clearly_more(name), less=less, gap=apart, allowed=allowed
    )


def _and(names: Sequence[str]) -> str:
    """Names in a row: "Coot, Teal and Newt"."""
    return names[0] if len(names) == 1 else _("{names} and {last}").format(names=", ".join(names[:-1]), last=names[-1])


def _verdict(boats: Sequence[Repeats], comparisons: Sequence[Comparison]) -> str:
    if len(boats) == 1:
        return _("Only {boat} has runs to show here, so there is nothing to compare.").format(boat=boats[0].boat)
    if any(boat.spread is None for boat in boats):
        return _("Too close to call: one run of a boat does not tell how much it differs from itself. Repeat the runs.")
    clear = [pair for pair in comparisons if not pair.too_close]
    if not clear and any(boat.floors_count for boat in boats):
        return _("Too close to call: runs that were cut short say only “at least”.")
    if not clear:
        return _("Too close to call: the boats differ from each other no more than each differs from itself.")
    if len(clear) == len(comparisons):
        return _("Every difference between the boats is larger than chance explains.")
    told = several(
        "Of {all} pairs of boats, {n} difference is clear;", "Of {all} pairs of boats, {n} differences are clear;",
        len(clear),
    ).format(all=len(comparisons), n=len(clear))  # fmt: skip
    rest = several(
        "the other is too close to call.", "the others are too close to call.", len(comparisons) - len(clear)
    )
    return f"{told} {rest}"


def _ahead(boats: Sequence[Repeats], comparisons: Sequence[Comparison], name: str) -> str:
    """Who is first, if anybody clearly is ahead of anybody."""
    found = places(boats, comparisons, more_is_better=words.more_is_better(name))
    if all(one.place == 1 for one in found):
        return ""
    first = [one.boat for one in found if one.place == 1]
    if len(first) == 1:
        return f"{words.ahead(name)}: {first[0]}."
    return _("{ahead}, too close to call between them: {boats}.").format(ahead=words.ahead(name), boats=_and(first))


def _caption(*, floors_count: int, void_count: int) -> str:
    text = _(
        "Each dot is one run, the upright stroke is the mean of a boat's runs. How far a boat's dots lie apart is its "
        "spread; the thin bar through a dot is the rig uncertainty, and often it is hidden behind the dot."
    )
    if floors_count:
        text += " " + _("An arrow means: at least this much. A boat with such a run has no mean, only a floor for it.")
    if void_count:
        text += " " + several(
            "Hollow: {n} run shown but not counted.", "Hollow: {n} runs shown but not counted.", void_count
        ).format(n=void_count)
    return text
