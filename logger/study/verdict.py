"""What may be said of the boats of a class: one verdict, who is ahead, who cannot be placed, and pair by pair."""

from __future__ import annotations

import math
from collections.abc import Sequence

from logger.study import words
from logger.study.compare import Comparison, Repeats
from logger.study.ranking import Place, Unplaced, places, repeats_needed
from logger.study.tongue import N_, _, several

FAR_BEYOND = 3
"""More than so many times the runs that a boat has are no matter of one lesson (common practice, no source)."""
_WHY: dict[Unplaced, str] = {
    "one run": N_("only one run"),
    "alone": N_("no other boat has repeats"),
    "cut short": N_("cut short, so only “at least” is known"),
    "spread": N_("its runs differ too much from each other"),
}


def verdict(boats: Sequence[Repeats], comparisons: Sequence[Comparison], name: str) -> str:
    """What is clear, who is ahead in the result `name`, and who cannot be placed."""
    if len(boats) == 1:
        return _("Only {boat} has runs to show here, so there is nothing to compare.").format(boat=boats[0].boat)
    if sum(boat.spread is not None for boat in boats) < 2:
        return _("Too close to call: one run of a boat does not tell how much it differs from itself. Repeat the runs.")
    found = places(boats, comparisons, more_is_better=words.more_is_better(name))
    return " ".join(filter(None, (_clear(boats, comparisons), _ahead(found, name), _unplaced(found))))


def _clear(boats: Sequence[Repeats], comparisons: Sequence[Comparison]) -> str:
    repeated = {boat.boat for boat in boats if boat.spread is not None}
    pairs = [pair for pair in comparisons if {pair.first, pair.second} <= repeated]
    clear = sum(not pair.too_close for pair in pairs)
    if not clear and any(boat.floors_count for boat in boats):
        return _("Too close to call: runs that were cut short say only “at least”.")
    if not clear:
        return _("Too close to call: the boats differ from each other no more than each differs from itself.")
    if clear == len(comparisons):
        return _("Every difference between the boats is larger than chance explains.")
    told = several(
        "Of {all} pairs of boats, {n} difference is clear;", "Of {all} pairs of boats, {n} differences are clear;",
        clear,
    ).format(all=len(comparisons), n=clear)  # fmt: skip
    rest = several("the other is too close to call.", "the others are too close to call.", len(comparisons) - clear)
    return f"{told} {rest}"


def _ahead(found: Sequence[Place], name: str) -> str:
    """Who is first, if anybody clearly is ahead of anybody."""
    placed = [one for one in found if one.place is not None]
    first = [one.boat for one in placed if one.place == 1]
    if len(first) == len(placed):
        return ""
    ahead = words.ahead(name)
    if len(placed) < len(found):
        ahead = _("{ahead} of the boats that can be placed").format(ahead=ahead)
    if len(first) == 1:
        return f"{ahead}: {first[0]}."
    return _("{ahead}, too close to call between them: {boats}.").format(ahead=ahead, boats=in_a_row(first))


def _unplaced(found: Sequence[Place]) -> str:
    """Which boats have no place, each with the reason."""
    left = [f"{one.boat} ({_(_WHY[one.why])})" for one in found if one.place is None and one.why]
    if not left:
        return ""
    return _("Cannot be placed: {boats}.").format(boats=in_a_row(left))


def pair_told(pair: Comparison, name: str, boats: Sequence[Repeats]) -> str:
    """What may be said of two boats."""
    both = {"first": pair.first, "second": pair.second}
    first, second = (next(boat for boat in boats if boat.boat == one) for one in both.values())
    alone = [boat.boat for boat in (first, second) if boat.spread is None]
    floors = [boat.boat for boat in (first, second) if boat.floors_count]
    if len(alone) == 2:
        return _("{first} and {second}: not to be told from one run each.").format(**both)
    if alone:
        return _("{first} and {second}: not to be told from one run of {alone}.").format(**both, alone=alone[0])
    if not math.isfinite(pair.U):
        cut = several(
            "{who} was cut short, so it is known only that it is at least as much as measured.",
            "{who} were cut short, so it is known only that it is at least as much as measured.", len(floors),
        ).format(who=in_a_row(floors))  # fmt: skip
        return _("{first} and {second}: not to be told.").format(**both) + " " + cut
    unit = pair.difference.unit
    gap = words.to_the_place_of(abs(pair.difference.value), pair.U, unit)
    allowed = words.doubt_alone(pair.U, unit)
    if pair.too_close:
        text = _(
            "{first} and {second}: too close to call ({gap} apart, and it could be chance up to {allowed})."
        ).format(**both, gap=gap, allowed=allowed)
        return text if floors else f"{text} {_more_runs(first, second)}".strip()
    more, less = (pair.first, pair.second) if pair.difference.value > 0 else (pair.second, pair.first)
    apart = _("at least {value}").format(value=gap) if floors else gap
    return _("{more} {did} {less} ({gap} apart; chance would explain up to {allowed}).").format(
        more=more, did=words.clearly_more(name), less=less, gap=apart, allowed=allowed
    )


def _more_runs(first: Repeats, second: Repeats) -> str:
    """How many runs would tell; nothing where nobody can say, or as many were made."""
    wanted = repeats_needed(first, second)
    if wanted is None or wanted <= first.count:
        return ""
    if wanted > FAR_BEYOND * max(first.count, second.count):
        return _("About {n} runs of each would probably tell: not in this lesson.").format(n=wanted)
    return _("About {n} runs of each would probably tell.").format(n=wanted)


def in_a_row(names: Sequence[str]) -> str:
    """Names in a row: "Coot, Teal and Newt"."""
    return names[0] if len(names) == 1 else _("{names} and {last}").format(names=", ".join(names[:-1]), last=names[-1])
