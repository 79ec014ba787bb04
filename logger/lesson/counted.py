"""What people counted by hand goes before what the rig knows, at once; the trial follows when it is measured again."""

from __future__ import annotations

from collections.abc import Mapping

from logger.lesson.entries import CountOf
from logger.results.by_hand import HAND, OF_WORD, counted
from logger.results.trial import Result, Trial

_FROM_COUNTS = ("cargo_per_min",)
"""Results that follow from a count and have to be worked out anew with it."""


def agrees(trial: Trial, counts: Mapping[CountOf, int]) -> bool:
    """Whether a trial says of what can be counted just what was counted."""
    return all(_by_hand(trial, name) == counts.get(word) for word, name in OF_WORD.items())  # type: ignore[call-overload]


def results(trial: Trial | None, counts: Mapping[CountOf, int]) -> Mapping[str, Result]:
    """The results of a run with its counts; what follows from others than these is left out."""
    found = {} if trial is None else dict(trial.results)
    if trial is not None and not agrees(trial, counts):
        found = {name: one for name, one in found.items() if one.witness != HAND and name not in _FROM_COUNTS}
    return found | {OF_WORD[word]: counted(count) for word, count in counts.items() if word in OF_WORD}


def _by_hand(trial: Trial, name: str) -> int | None:
    found = trial.results.get(name)
    return round(found.quantity.value) if found is not None and found.witness == HAND else None
