"""One run in a few lines of plain text, for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from logger.config import RunCard
from logger.results.trial import Trial
from logger.study import words


def summary(card: RunCard, trial: Trial) -> str:
    """What came out, with its doubts; several lines, no line break at the end."""
    return "\n".join(_lines(card, trial))


def _lines(card: RunCard, trial: Trial) -> Iterator[str]:
    practice = ", simulated" if trial.simulated else ""
    yield f"{card.id}: {words.kind_of_run(trial.kind)} of {card.boat.name}, {words.status_of(trial.status)}{practice}"
    names = [words.name_of(name) for name in (*trial.results, *trial.not_measured)]
    width = max(map(len, names), default=0)
    for name, result in trial.results.items():
        yield f"  {words.name_of(name):<{width}}  {words.said(result)}  ({words.seen_by(result.witness)})"
    for name, gap in trial.not_measured.items():
        yield f"  {words.name_of(name):<{width}}  not measured: {gap.reason}"
    yield f"  {words.end_of(trial.end_reason, card.rules)}"
    for flag in trial.flags:
        yield f"  Look here: {flag}"
