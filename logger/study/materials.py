"""What boats are made of, compared: a boat is one case, however many runs it made, as its runs share all else of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.results.columns import COLUMNS
from logger.study import words
from logger.study.class_folder import Class
from logger.study.class_view import mean_told
from logger.study.compare import Comparison, Repeats, compare_all, grouped, repeats_of, repeats_of_results
from logger.study.dots import Dot, dot_plot
from logger.study.tongue import _, several


@dataclass(frozen=True, slots=True)
class MaterialRow:
    """One material."""

    name: str
    boats: str
    mean: str
    spread: str
    """From boat to boat."""


@dataclass(frozen=True, slots=True)
class Materials:
    """The boats of a class by what they are made of, for one kind of run."""

    drawing: str
    rows: tuple[MaterialRow, ...]
    told: tuple[str, ...]
    """What may be said, pair by pair."""
    is_open: bool
    """Whether nothing is clear."""
    without: tuple[str, ...]
    """Boats of which the card names no material."""


def materials(whole: Class, kind: str) -> Materials | None:
    """Means of every team's latest boat by material; None unless there are two materials at least."""
    name = words.main_result(kind)  # type: ignore[arg-type]
    newest: dict[str, int] = {}
    for one in whole.of(kind=kind):
        newest[one.team] = max(newest.get(one.team, 1), one.run.card.boat.version)
    runs = [
        one for one in whole.of(kind=kind)
        if one.counts and name in one.run.trial.results and one.run.card.boat.version == newest[one.team]
    ]  # fmt: skip
    named = {one.boat: " ".join(one.run.card.boat.material.split()).casefold() for one in runs}
    boats = {
        boat: repeats_of_results(boat, results, name)
        for boat, results in grouped([(one.boat, one.run.trial.results[name]) for one in runs]).items()
    }
    kinds = sorted({material for material in named.values() if material})
    if len(kinds) < 2:
        return None
    by_kind = {material: [boats[boat] for boat in boats if named[boat] == material] for material in kinds}
    found = [
        repeats_of(
            material, [one.mean for one in own], floors_count=sum(one.floors_count > 0 for one in own),
            step=COLUMNS[name].step,
        )
        for material, own in by_kind.items()
    ]  # fmt: skip
    pairs = compare_all(found)
    return Materials(
        _drawing(by_kind, found, name, key=f"material-{kind}"),
        tuple(_row(one, by_kind[one.boat]) for one in found),
        tuple(_pair(pair, found, name) for pair in pairs),
        all(pair.too_close for pair in pairs),
        tuple(boat for boat in boats if not named[boat]),
    )


def _drawing(by_kind: dict[str, list[Repeats]], found: Sequence[Repeats], name: str, *, key: str) -> str:
    dots = [
        Dot(material, one.mean.value, one.mean.U, at_least=one.floors_count > 0, note=one.boat)
        for material, own in by_kind.items()
        for one in own
    ]
    means = {one.boat: one.mean.value for one in found if one.count > 1 and not one.floors_count}
    summary = "; ".join(f"{one.boat}: {_boats(one.count)}, {mean_told(one)}" for one in found)
    title = _("Every boat as a dot, by its material: {what}").format(what=words.name_of(name))
    axis = f"{words.name_of(name)} ({words.unit_words(found[0].mean.unit)})"
    return dot_plot(dots, means, name=axis, key=key, title=title, summary=f"{summary}.")


def _boats(count: int) -> str:
    return several("{n} boat", "{n} boats", count).format(n=count)


def _row(one: Repeats, own: Sequence[Repeats]) -> MaterialRow:
    spread = "–" if one.spread is None else words.doubt_alone(one.spread, one.mean.unit)
    return MaterialRow(one.boat, ", ".join(boat.boat for boat in own), mean_told(one), spread)


def _pair(pair: Comparison, found: Sequence[Repeats], name: str) -> str:
    both = {"first": pair.first, "second": pair.second}
    alone = [one.boat for one in found if one.boat in both.values() and one.spread is None]
    if alone:
        return _(
            "{first} and {second}: too close to call. One boat of {alone} does not tell how much such boats differ."
        ).format(**both, alone=alone[0])
    unit = pair.difference.unit
    if pair.too_close:
        return _("{first} and {second}: too close to call.").format(**both)
    more, less = (pair.first, pair.second) if pair.difference.value > 0 else (pair.second, pair.first)
    gap = words.to_the_place_of(abs(pair.difference.value), pair.U, unit)
    return _(
        "Boats of {more}: {what} larger than of {less} ({gap} apart; chance would explain up to {allowed})."
    ).format(more=more, less=less, what=words.name_of(name), gap=gap, allowed=words.doubt_alone(pair.U, unit))
