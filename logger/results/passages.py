"""Edges of one gate -> passages: what went through the beam, and when it first broke it.

A boat does not break a beam once. The bow breaks it, the deck lets a little light through, mast and rigging break it
again, a switch bounces, a lamp starter makes a pulse of a tenth of a millisecond. Four rules, all with numbers that
the caller may set:

1. Dark stretches closer together than `isolated_s` belong to one *pulse*.
2. A pulse that is dark for less than `shortest_s` in all is a *speck*. It becomes a passage of its own with the doubt
   "short": never the boat, never dropped without a word, and it neither opens nor lengthens a boat's passage.
3. The first break counts. Further pulses join the passage until the beam was clear for `rearm_clear_s`.
4. Two edges of the same level in a row mean that one was lost; so does a jump of the source's own running number.

The numbers are arguments because the same rules serve other gates: a pendulum's photogate, a time signal, a switch.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from logger.records import Edge

PassageDoubt: TypeAlias = Literal["short", "edges_lost", "blocked_before", "still_blocked"]
"""Too short for a boat · an edge is missing · the beam was broken before the first edge · it never became clear."""


@dataclass(frozen=True, slots=True)
class Passage:
    """One thing that went through one beam."""

    gate: str
    t_ns: int
    """The first break. With the doubt "blocked_before": the first edge there is, which is later than the break."""
    cleared_ns: int | None
    """When the beam became clear for good; None if it never did."""
    dark_s: float
    """How long the beam was broken in all, without the clear stretches between."""
    edges: tuple[Edge, ...]
    """Every raw edge that belongs to it, in order of time."""
    doubts: tuple[PassageDoubt, ...] = ()

    @property
    def blocked_s(self) -> float:
        """From the first break until it was clear for good; 0 if it never became clear."""
        return 0.0 if self.cleared_ns is None else (self.cleared_ns - self.t_ns) / 1e9

    @property
    def edges_count(self) -> int:
        """How many raw edges it is made of."""
        return len(self.edges)


@dataclass(frozen=True, slots=True)
class _Dark:
    """One stretch from a break to the next clear edge; an end that no edge marks is None."""

    on_ns: int | None
    off_ns: int | None
    edges: tuple[Edge, ...]
    lost: bool = False

    @property
    def first_ns(self) -> int:
        return self.edges[0].t_ns

    @property
    def last_ns(self) -> int:
        return self.edges[-1].t_ns

    @property
    def whole(self) -> bool:
        return self.on_ns is not None and self.off_ns is not None


def passages(
    edges: Iterable[Edge],
    *,
    gate: str | None = None,
    rearm_clear_s: float = 0.5,
    shortest_s: float = 0.002,
    isolated_s: float = 0.02,
) -> tuple[Passage, ...]:
    """What went through one gate, in order of time, doubtful passages included.

    Args:
        edges: in any order; doubled ones count once.
        gate: which gate's edges to take; None takes all, which must then be of one gate.
        rearm_clear_s: a new passage begins only after the beam was clear this long.
        shortest_s: a lone pulse darker for less than this is doubtful ("short").
        isolated_s: dark stretches with less clear time than this between them are one pulse. It is never taken
            longer than `rearm_clear_s`.

    Raises:
        ValueError: edges of several gates and none named.
    """
    every = sorted(set(edges), key=_order)
    chosen = [e for e in every if gate is None or e.gate == gate]
    if len(names := {e.gate for e in chosen}) > 1:
        raise ValueError(f"edges of {len(names)} gates ({', '.join(sorted(names))}); one is wanted: name the gate")
    near_ns, rearm_ns = round(min(isolated_s, rearm_clear_s) * 1e9), round(rearm_clear_s * 1e9)
    pulses = _grouped([[d] for d in _dark_stretches(chosen, after_loss=_after_loss(every))], near_ns)
    specks = [p for p in pulses if _is_speck(p, shortest_s)]
    boats = _grouped([p for p in pulses if not _is_speck(p, shortest_s)], rearm_ns)
    found = [_passage(p, ("short",)) for p in specks] + [_passage(p, ()) for p in boats]
    return tuple(sorted(found, key=lambda p: (p.t_ns, p.cleared_ns or 0)))


def _order(edge: Edge) -> tuple[int, int, bool]:
    return edge.t_ns, -1 if edge.count is None else edge.count, not edge.blocked


def _after_loss(edges: Sequence[Edge]) -> frozenset[Edge]:
    """Edges whose running number jumps, both among all edges of their source and among those of their gate.

    Some sources number all their edges in one row, some number each gate's: only a jump in both means a loss.
    """
    last_of_source: dict[str, int] = {}
    last_of_gate: dict[tuple[str, str], int] = {}
    found = set()
    for edge in edges:
        if edge.count is None:
            continue
        key = (edge.source, edge.gate)
        if key in last_of_gate and 1 not in (
            edge.count - last_of_gate[key],
            edge.count - last_of_source[edge.source],
        ):
            found.add(edge)
        last_of_gate[key] = last_of_source[edge.source] = edge.count
    return frozenset(found)


def _dark_stretches(edges: Sequence[Edge], *, after_loss: frozenset[Edge]) -> list[_Dark]:
    """Pair breaks with clear edges; an edge whose partner is missing makes a stretch that says so."""
    found: list[_Dark] = []
    pending: Edge | None = None
    for i, edge in enumerate(edges):
        lost = edge in after_loss
        if edge.blocked:
            if pending is not None:
                found.append(_Dark(pending.t_ns, None, (pending,), lost=True))
            pending = edge
        elif pending is not None:
            found.append(_Dark(pending.t_ns, edge.t_ns, (pending, edge), lost=lost or pending in after_loss))
            pending = None
        else:
            found.append(_Dark(None, edge.t_ns, (edge,), lost=i > 0 or lost))
    if pending is not None:
        found.append(_Dark(pending.t_ns, None, (pending,), lost=pending in after_loss))
    return found


def _grouped(groups: Sequence[Sequence[_Dark]], gap_ns: int) -> list[list[_Dark]]:
    """Join neighbours with less than `gap_ns` of clear beam between them."""
    joined: list[list[_Dark]] = []
    for group in groups:
        if joined and group[0].first_ns - joined[-1][-1].last_ns < gap_ns:
            joined[-1].extend(group)
        else:
            joined.append(list(group))
    return joined


def _is_speck(pulse: Sequence[_Dark], shortest_s: float) -> bool:
    return all(d.whole for d in pulse) and (pulse[-1].last_ns - pulse[0].first_ns) / 1e9 < shortest_s


def _passage(pulse: Sequence[_Dark], doubts: tuple[PassageDoubt, ...]) -> Passage:
    if pulse[0].on_ns is None and not pulse[0].lost:
        doubts += ("blocked_before",)
    if any(d.lost for d in pulse):
        doubts += ("edges_lost",)
    if pulse[-1].off_ns is None:
        doubts += ("still_blocked",)
    dark_ns = sum(d.off_ns - d.on_ns for d in pulse if d.on_ns is not None and d.off_ns is not None)
    edges = tuple(e for d in pulse for e in d.edges)
    return Passage(edges[0].gate, edges[0].t_ns, pulse[-1].off_ns, dark_ns / 1e9, edges, doubts)
