"""What happens in the simulated tank during one run: painted beforehand, told on this computer's clock, with mishaps.

Times of a story count from its beginning. The boat is let go at its own time, or some time after the word.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from logger.records import Edge

T = TypeVar("T")
_REACTION_NS = 400_000_000
"""From the word to the moment at which the crew lets the boat go."""
_AGAIN_NS, _ARM_NS = 900_000_000, 300_000_000
"""So long after the boat has left the first beam an arm breaks it, and for so long."""


@dataclass(frozen=True, slots=True)
class Painted:
    """One run, ready to be told; times from its beginning."""

    edges: tuple[tuple[int, Edge], ...]
    """Each with its time, ns."""
    pictures: tuple[tuple[int, bytes], ...]
    """JPEGs, each with its time, ns."""
    exposure_ns: int
    line_ns: int
    go_ns: int
    """When the crew lets the boat go."""


def turned_back(run: Painted) -> Painted:
    """Halfway between the first beam and the next, all that has happened happens the other way round."""
    first = run.edges[0][1].gate
    here_ns = [t_ns for t_ns, edge in run.edges if edge.gate == first]
    there_ns = [t_ns for t_ns, edge in run.edges if edge.gate != first]
    turn_ns = (max(here_ns) + min(there_ns)) // 2 if there_ns else max(here_ns) + _AGAIN_NS
    out = tuple(one for one in run.edges if one[0] < turn_ns)
    back = tuple((2 * turn_ns - t_ns, replace(edge, blocked=not edge.blocked)) for t_ns, edge in reversed(out))
    seen = tuple(one for one in run.pictures if one[0] < turn_ns)
    again = tuple((2 * turn_ns - t_ns, picture) for t_ns, picture in reversed(seen))
    return replace(run, edges=(*out, *back), pictures=(*seen, *again))


def broken_twice(run: Painted) -> Painted:
    """The first beam is broken once more, by what no camera that looks for boats takes for one."""
    first = run.edges[0][1].gate
    left_ns = max(t_ns for t_ns, edge in run.edges if edge.gate == first)
    arm = tuple(
        (t_ns, replace(run.edges[0][1], t_ns=t_ns, blocked=blocked))
        for t_ns, blocked in ((left_ns + _AGAIN_NS, True), (left_ns + _AGAIN_NS + _ARM_NS, False))
    )
    return replace(run, edges=tuple(sorted((*run.edges, *arm), key=lambda one: one[0])))


class Stage(Generic[T]):
    """One device's part of what happens in the tank, on this computer's clock."""

    def __init__(self) -> None:
        self.story: tuple[tuple[int, T], ...] = ()
        self.begins_ns: int | None = None
        """When the run under way begins; None: nothing is in the tank."""
        self._go_after_ns = 0
        self._obeys = True
        self._let_go_ns: int | None = None

    def set(self, story: tuple[tuple[int, T], ...], go_after_ns: int, *, obeys: bool) -> None:
        """What is to happen, when the boat is let go in it, and whether that waits for the word."""
        self.story, self._go_after_ns, self._obeys = story, go_after_ns, obeys

    def set_off(self, t_ns: int, *, on_go: bool) -> None:
        """The story begins at that time; if `on_go`, the boat waits for the word."""
        self.begins_ns = t_ns
        self._let_go_ns = None if on_go and self._obeys else t_ns + self._go_after_ns

    def go(self, t_ns: int) -> None:
        """The word is given."""
        if self.begins_ns is not None and self._let_go_ns is None:
            self._let_go_ns = max(t_ns + _REACTION_NS, self.begins_ns + self._go_after_ns)

    def when_ns(self, after_ns: int) -> int | None:
        """The moment of what stands `after_ns` behind the beginning of the story; None: nobody knows yet."""
        assert self.begins_ns is not None  # noqa: S101 - asked only while a run is told
        if after_ns < self._go_after_ns:
            return self.begins_ns + after_ns
        return None if self._let_go_ns is None else self._let_go_ns + after_ns - self._go_after_ns

    def end(self) -> None:
        """Nothing is in the tank any more."""
        self.begins_ns, self.story, self._let_go_ns = None, (), None
