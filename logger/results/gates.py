"""What the gates say: which passage is the boat's, and when its bow was at the line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.quantity import Quantity, Source
from logger.config import Gate, Line, Rig, Rules
from logger.records import Edge
from logger.results import sources
from logger.results.budget import Owner
from logger.results.lines import distance_between
from logger.results.passages import Passage, passages

_NO_GO_SHARE = 0.6
_LEAST_SHARE = 0.2
_CUT_SHARE = 1.25
"""A boat that coasts through a beam was faster when its bow got there than on the mean over its length."""


def all_passages(edges: Sequence[Edge], rig: Rig, rules: Rules) -> Mapping[str, tuple[Passage, ...]]:
    """Every gate of the rig with its passages, none where it saw nothing."""
    return {g.name: passages(edges, gate=g.name, rearm_clear_s=rules.rearm_clear_s) for g in rig.gates}


def usable(passage: Passage) -> bool:
    """Whether its first break can stand for a boat's bow."""
    return not {"short", "blocked_before"} & set(passage.doubts) and passage.edges[0].blocked


@dataclass(frozen=True, slots=True)
class GatePair:
    """The boat's passages at the first and the last gate; None where there is none."""

    start: Passage | None
    end: Passage | None
    early: bool = False
    """The start beam broke before go, and not again after it."""
    before_count: int = 0
    """So many breaks of the start beam before that of the boat were something else's."""


def pair(
    start: Sequence[Passage], end: Sequence[Passage], *, go_ns: int | None, from_ns: int, until_ns: int | None
) -> GatePair:
    """First usable break of the start gate after go, then the first of the end gate after that.

    If the start beam broke only before go, that break counts and is called early.

    Args:
        start: passages of the start gate.
        end: passages of the gate at the end of the timed part.
        go_ns: the go signal, if there was one.
        from_ns: nothing before this counts (the run was not armed).
        until_ns: nothing after this counts.
    """
    counted = [p for p in start if usable(p) and p.t_ns >= from_ns and (until_ns is None or p.t_ns <= until_ns)]
    after_go = [p for p in counted if go_ns is None or p.t_ns >= go_ns]
    first = after_go[0] if after_go else (counted[-1] if counted else None)
    earliest = first.t_ns if first else max(from_ns, go_ns or from_ns)
    ends = [p for p in end if usable(p) and p.t_ns > earliest and (until_ns is None or p.t_ns <= until_ns)]
    return GatePair(first, ends[0] if ends else None, early=first is not None and not after_go)


def passing_speed(passage: Passage, owner: Owner, *, change: float = 0.0) -> Quantity | None:
    """Boat length over blocked time, mm/s; None where either is not known well enough.

    The beam stands above the water and may meet less than the whole length (bow rake, stern): 3 % are allowed for it.
    The speed is a mean over the passage; `change` says by what share it may have changed since the bow was there.
    """
    boat = owner.boat
    if boat.length_mm is None or passage.blocked_s <= 0 or passage.doubts:
        return None
    speed = boat.length_mm / passage.blocked_s
    return Quantity(
        speed,
        "mm/s",
        {
            sources.of_boat("boat length", boat): boat.u_length_mm / passage.blocked_s,
            sources.of_boat("length of boat in the beam", boat): 0.03 * speed,
            sources.of_run("change of speed in the beam", owner.run_id): change * speed,
        },
    )


def speed_at_cut(passage: Passage, owner: Owner) -> Quantity | None:
    """Speed at a mark gate, mm/s, where power is cut and the boat coasts through; None as `passing_speed`."""
    mean = passing_speed(passage, owner)
    if mean is None:
        return None
    speed = mean.scaled(_CUT_SHARE, "mm/s")
    return speed.plus_doubt(sources.of_run("losing way at the mark", owner.run_id), 0.2 * speed.value)


def speed_at_first(passage: Passage, owner: Owner, *, since_go_s: float | None) -> Quantity | None:
    """Speed at a start gate, mm/s, of a boat that gathers way while it passes; None as `passing_speed`.

    The mean over the passage is too fast for its beginning. From rest at go, with an even push, the speed t after go
    is t/(t + b/2) of the mean over the following b seconds. Without a go signal 0.6 is taken. Both are rough: 0.25 of
    it are allowed.
    """
    mean = passing_speed(passage, owner)
    if mean is None:
        return None
    share = _NO_GO_SHARE if since_go_s is None else max(since_go_s / (since_go_s + passage.blocked_s / 2), _LEAST_SHARE)
    speed = mean.scaled(share, "mm/s")
    return speed.plus_doubt(sources.of_run("gathering way at the start", owner.run_id), 0.25 * speed.value)


@dataclass(frozen=True, slots=True)
class GatesClock:
    """What the gates' stamps count from, and how well their clock is known in this run."""

    origin_ns: int
    """Zero of the seconds."""
    run_id: str
    u_s: float = 0.0
    """Of the clock itself, the same for all gates of a run: it cancels between two of them."""


def stamp(passage: Passage, gate: Gate, clock: GatesClock) -> Quantity:
    """When the beam broke, in seconds after the clock's origin."""
    parts = {sources.of_run(f"gate {gate.name} stamp", clock.run_id): gate.u_stamp_s}
    if clock.u_s:
        parts[sources.of_run("clock of the gates", clock.run_id)] = clock.u_s
    return Quantity((passage.t_ns - clock.origin_ns) / 1e9, "s", parts)


def at_line(passage: Passage, gate: Gate, clock: GatesClock, *, speed: Quantity) -> Quantity:
    """When the bow was at the gate's line, in seconds after the clock's origin; `speed` is that of the bow there, mm/s.

    The beam trips `offset_mm` past the line, so the bow was at the line offset/speed earlier.
    """
    place = Quantity.of(gate.offset_mm, "mm", u=gate.u_offset_mm, source=f"gate {gate.name} place")
    return stamp(passage, gate, clock) - place.over(speed, "s")


def beam_distance(first: tuple[Gate, Line], last: tuple[Gate, Line], rig: Rig) -> Quantity:
    """From the first beam to the last, mm: by tape if it was taped, else from the lines and the gates' places."""
    if rig.gate_distance_mm is not None:
        return Quantity.of(rig.gate_distance_mm, "mm", u=rig.u_gate_distance_mm, source="gate distance")
    (gate_a, line_a), (gate_b, line_b) = first, last
    offsets = Quantity(
        gate_b.offset_mm - gate_a.offset_mm,
        "mm",
        {
            Source(f"gate {gate_a.name} place"): -gate_a.u_offset_mm,
            Source(f"gate {gate_b.name} place"): gate_b.u_offset_mm,
        },
    )
    lines = distance_between(line_a, line_b, rig)
    return Quantity.linear(lines.value + offsets.value, "mm", [(1, lines), (1, offsets)])
