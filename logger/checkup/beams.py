"""What the beams of gates do: as they stand, and when somebody passes a hand or a straw through each. Pure.

A *pass* begins when a beam that was clear is broken, and is over when it has been clear again for a while. A clean
pass has two edges; fingers make more, a loose plug or sunlight many.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

from logger.drivers.interface import Finding
from logger.records import Edge

CLEAR_AGAIN_NS = 300_000_000
"""Clear for this long ends a pass."""
FLICKER_COUNT = 8
"""More edges than this in one pass are no hand (common sense, no source)."""
IDLE_COUNT = 2
"""More edges than this while nobody is at the beam are a flicker."""
_AIM = "line up the beam, keep sun and other lamps from its sensor, look at its plug"


@dataclass(slots=True)
class _Beam:
    """What is known of one beam."""

    blocked: bool | None = None
    changed_ns: int = 0
    edges_count: int = 0
    passes: list[int] = field(default_factory=list)
    first_ns: int | None = None

    def settle(self, now_ns: int) -> None:
        if self.edges_count and not self.blocked and now_ns - self.changed_ns >= CLEAR_AGAIN_NS:
            if self.edges_count > 1:  # one edge alone only says that it became clear
                self.passes.append(self.edges_count)
            self.edges_count = 0


class Beams:
    """Is shown every edge, and the time; tells how each beam does."""

    def __init__(self, gates: Sequence[str], *, say: Callable[[str], None] = lambda _: None) -> None:
        """Begin.

        Args:
            gates: Names, in the order in which people are asked to pass through them.
            say: Is told at once, in words, when a beam was passed.
        """
        self._beams = {gate: _Beam() for gate in gates}
        self._strangers: set[str] = set()
        self._say = say

    def edge(self, edge: Edge) -> None:
        """A beam changed."""
        beam = self._beams.get(edge.gate)
        if beam is None:
            self._strangers.add(edge.gate)
            return
        beam.settle(edge.t_ns)
        beam.blocked, beam.changed_ns = edge.blocked, edge.t_ns
        beam.edges_count += 1
        if edge.blocked and beam.first_ns is None:
            beam.first_ns = edge.t_ns

    def time(self, now_ns: int) -> None:
        """Nothing else has happened up to `now_ns`."""
        for gate, beam in self._beams.items():
            before = len(beam.passes)
            beam.settle(now_ns)
            if len(beam.passes) > before:
                self._say(f"gate {gate}: trips and clears ({beam.passes[-1]} edges)")

    @property
    def all_passed(self) -> bool:
        """Whether every beam was passed once and is clear again."""
        return all(beam.passes and not beam.edges_count for beam in self._beams.values())

    def blocked(self) -> list[str]:
        """Gates whose beam is broken now."""
        return [gate for gate, beam in self._beams.items() if beam.blocked]

    def idle_findings(self) -> Iterator[Finding]:
        """What is to be said of beams at which nobody is."""
        for gate, beam in self._beams.items():
            part = f"gate {gate}"
            count = beam.edges_count + sum(beam.passes)
            if count > IDLE_COUNT:
                yield Finding(part, "wrong", f"the beam flickers: {count} edges while nobody is there", _AIM)
            elif beam.blocked:
                cure = "clear the beam; if nothing is in it, see that light and sensor have power and face each other"
                yield Finding(part, "wrong", "the beam is broken now", cure)
        yield from self._stranger_findings()

    def passed_findings(self) -> Iterator[Finding]:
        """What is to be said after people were asked to pass through each beam."""
        for gate, beam in self._beams.items():
            yield _passed(f"gate {gate}", beam)
        order = sorted((b.first_ns, gate) for gate, b in self._beams.items() if b.first_ns is not None)
        answered = [gate for _, gate in order]
        asked = [gate for gate in self._beams if gate in answered]
        if answered != asked:
            found = f"they answered in the order {', '.join(answered)}, asked were {', '.join(asked)}"
            cure = (
                "if you went in the order asked, their plugs are swapped: swap them back, or their pins in the rig file"
            )
            yield Finding("gates", "doubtful", found, cure)
        yield from self._stranger_findings()

    def _stranger_findings(self) -> Iterator[Finding]:
        for gate in sorted(self._strangers):
            cure = f'write [[gates]] with name = "{gate}" into the rig file, or take it out of the driver\'s table'
            yield Finding(f"gate {gate}", "wrong", "it sends edges, but the rig file has no such gate", cure)


def _passed(part: str, beam: _Beam) -> Finding:
    if not beam.passes and not beam.edges_count:
        cure = "look at its plug and power; see that light and sensor face each other; then pass through it once more"
        return Finding(part, "wrong", "nothing was seen of it: it never tripped", cure)
    if beam.blocked:
        cure = 'clear the beam; if nothing is in it, line it up, see that it has power, or turn "blocked_is" round'
        return Finding(part, "wrong", "it is broken and does not clear", cure)
    counts = beam.passes + ([beam.edges_count] if beam.edges_count else [])
    found = f"trips and clears ({', '.join(map(str, counts[:5]))} edges a pass)"
    if max(counts) > FLICKER_COUNT:
        return Finding(part, "doubtful", f"trips and clears, but flickers: {max(counts)} edges in one pass", _AIM)
    return Finding(part, "well", found)
