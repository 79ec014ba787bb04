"""What people counted: cargo, rings, touches of obstacles, weights. A person says how many; the last word counts.

A count by hand is exact by agreement. Its rate is not: the time it is over begins with the go signal and ends with the
cap of the rules, or where somebody stopped the run, and a person works to that by eye and ear.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from calibration.quantity import Quantity
from logger.config import BY_HAND
from logger.recording.folder import Event
from logger.results import sources
from logger.results.case import Case
from logger.results.stretch import Ending
from logger.results.times import U_GO_S
from logger.results.trial import NotMeasured, Result

HAND = "hand"
OF_WORD: Mapping[str, str] = {
    "cargo": "cargo_count", "rings": "rings_count", "touches": "obstacle_touches_count", "weights": "weights_count",
}  # fmt: skip
"""Word of an event -> the result that it is."""
MAIN = ("cargo_count", "rings_count", "weights_count")
"""What its kind of run is about."""
U_END_S = 0.1
"""How well people keep to the end of a time: the scatter of start to stop by hand (Am. J. Phys. 87:110, 2019)."""
_MINUTE_S = 60.0
_NO_WEIGHTS = "Nobody entered how many weights the boat carried (an event “weights” with the number)."
_NOBODY = "Nobody entered how many pieces of cargo it brought (an event “cargo” with the number)."


def answers(case: Case, events: Sequence[Event], end: Ending) -> dict[str, Result | NotMeasured]:
    """Cargo and its rate in a cargo run, weights in a test by hand; others in any run where a person counted them."""
    found: dict[str, Result | NotMeasured] = {}
    for word, name in OF_WORD.items():
        count = _said(events, word)
        if count is not None:
            found[name] = counted(count)
    pieces = _said(events, "cargo")
    if pieces is not None:
        found["cargo_per_min"] = _rate(case, pieces, end)
    elif case.kind == "cargo":
        found |= dict.fromkeys(("cargo_count", "cargo_per_min"), NotMeasured(_NOBODY))
    if case.kind in BY_HAND and "weights_count" not in found:
        found["weights_count"] = NotMeasured(_NO_WEIGHTS)
    return found


def counted(count: int) -> Result:
    """A number that a person counted."""
    return Result(Quantity(float(count), "1"), HAND)


def _said(events: Sequence[Event], word: str) -> int | None:
    said = [event for event in sorted(events, key=lambda event: event.t_ns) if event.event == word]
    return int(said[-1].detail) if said else None


def _rate(case: Case, pieces: int, end: Ending) -> Result | NotMeasured:
    if case.story.go_ns is None:
        return NotMeasured("Nobody gave the go signal, so the time for the cargo has no beginning.")
    if end.reason == "recording_ended":
        return NotMeasured("The recording ended before the time for the cargo was up.")
    lasted_s = (end.t_ns - case.story.go_ns) / 1e9
    if lasted_s <= 0:
        return NotMeasured("The time for the cargo ended as it began.")
    run = case.owner.run_id
    parts = {sources.of_run("go signal stamp", run): U_GO_S, sources.of_run("end of the time by hand", run): U_END_S}
    rate = Quantity(float(pieces), "1").scaled(_MINUTE_S, "1").over(Quantity(lasted_s, "s", parts), "/min")
    return Result(rate, HAND)
