"""The class in a drawing, a table and one careful sentence per kind of run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.quantity import Quantity, decimals_for
from logger.results.repeats import median_is_floor, odd_run, relative_sd_of_sd, spread_of
from logger.results.trial import Result
from logger.study import words
from logger.study.compare import Repeats, compare_all, grouped, repeats_of_results
from logger.study.dots import Dot, dot_plot
from logger.study.leaf import Run
from logger.study.scatter import Names, Point, scatter_plot
from logger.study.tongue import _, several
from logger.study.verdict import in_a_row, pair_told, verdict

_COUNTED = ("valid", "freed")
_SPEED = "speed_at_line_m_per_s"


@dataclass(frozen=True, slots=True)
class ClassRow:
    """One boat in the table."""

    boat: str
    count: int
    mean: str
    median: str
    range: str
    """Greatest less least."""
    spread: str
    spread_doubt: str
    """How good that spread itself is, as few runs tell little of it; empty if there is none."""
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
    odd: tuple[str, ...] = ()
    """Which runs lie far from the others of their boat; they count, and somebody should look at them."""


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
    results = grouped([(run.card.boat.name, run.trial.results[name]) for run in counted])
    boats = [repeats_of_results(boat, own, name) for boat, own in results.items()]
    comparisons = compare_all(boats)
    void = sum(run.trial.status not in _COUNTED for run in measured)
    floors = sum(run.trial.results[name].at_least for run in measured)
    return ClassView(
        key=f"class-{kind}",
        heading=_("The {kinds} of the class, by {what}").format(
            kinds=words.runs_of_kind(kind), what=words.name_of(name)
        ),
        verdict=verdict(boats, comparisons, name),
        is_open=not comparisons or any(pair.too_close for pair in comparisons),
        drawing=_drawing(measured, boats, name, f"class-{kind}-dots"),
        caption=_caption(floors_count=floors, void_count=void),
        scatter=_scatter(measured, name, f"class-{kind}-scatter"),
        rows=tuple(_row(boat, results[boat.boat]) for boat in boats),
        pairs=tuple(pair_told(pair, name, boats) for pair in comparisons),
        odd=tuple(filter(None, (_odd(boat, results[boat.boat]) for boat in boats))),
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
    u = boat.mean_with_spread.u
    value = f"{boat.mean.value:.{max(decimals_for(u, 1), 0)}f}" if u > 0 else f"{boat.mean.value:g}"
    text = words.with_unit(value, boat.mean.unit)
    return _("at least {value}").format(value=text) if boat.floors_count else text


def _row(boat: Repeats, results: Sequence[Result]) -> ClassRow:
    values = [one.quantity.value for one in results]
    found = spread_of(values)
    median = _to_the_spread(found.median, boat)
    if median_is_floor(values, [one.at_least for one in results]):
        median = _("at least {value}").format(value=median)
    unknown = _("one run: not known") if found.sd is None else _("cut short: not known") if boat.floors_count else ""
    return ClassRow(
        boat.boat,
        boat.count,
        mean_told(boat),
        median,
        unknown or _to_the_spread(found.range, boat),
        unknown or words.doubt_alone(found.sd or 0.0, boat.mean.unit),
        "" if unknown or not found.sd else _of_a_spread(found.count),
        f"± {words.give_or_take(boat.mean)}",
    )


def _of_a_spread(count: int) -> str:
    """How good the spread of so few runs is itself."""
    share = f"{100 * relative_sd_of_sd(count):.0f}"
    return _("itself good to about {share}\u00a0%").format(share=share)


def _to_the_spread(value: float, boat: Repeats) -> str:
    """One of a boat's runs, or what is between two, to the place of the spread's second digit; counts as they are."""
    if boat.step:
        return words.with_unit(f"{value:g}", boat.mean.unit)
    u = max(boat.spread or 0.0, boat.mean.u)
    digits = 1 if boat.spread is None else 2
    return words.with_unit(f"{value:.{max(decimals_for(u, digits), 0)}f}", boat.mean.unit)


def _odd(boat: Repeats, results: Sequence[Result]) -> str:
    """A run far from all others of its boat, as a sentence; empty if there is none.

    Walls make runs alike: where a run was cut short nobody can say which one is odd.
    """
    values = [one.quantity.value for one in results]
    odd = None if boat.floors_count else odd_run(values, step=boat.step)
    if odd is None:
        return ""
    others = in_a_row([_to_the_spread(value, boat) for i, value in enumerate(values) if i != odd])
    return _(
        "{boat}: one run ({value}) lies far from its others ({others}). It counts. Look at what happened in it."
    ).format(boat=boat.boat, value=_to_the_spread(values[odd], boat), others=others)


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
