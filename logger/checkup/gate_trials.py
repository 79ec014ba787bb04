"""Does a straw break the beam each time, and do ripples leave it alone? Counted on the edges' own stamps. Pure.

A straw is passed on call: one call every few seconds, so many calls. So a pass that was not seen is known by its empty
place, and nobody has to be believed for the count. What a count proves is told with it: of so many straws that were all
seen, the share that is seen is at least 0.05^(1/n) (Clopper and Pearson 1934, one-sided, 95 %); of so many breaks
in a time, the rate is at most half the chi-squared quantile of 2(n + 1) degrees of freedom (Garwood 1936).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import betaincinv, gammaincinv

from logger.checkup.beams import CLEAR_AGAIN_NS, FLICKER_COUNT
from logger.records import Edge

STRAW_MM = 6.0
CALLS_COUNT, CALL_EVERY_NS = 10, 3_000_000_000
CALM_NS = 60_000_000_000
_SURE = 0.95


@dataclass(frozen=True, slots=True)
class Judged:
    """What a trial came to."""

    passed: bool
    found: tuple[str, ...]
    """Sentences with numbers and units, the answer first."""
    cure: str = ""
    """What to do, if it did not pass."""


@dataclass(slots=True)
class _Break:
    """One time that a beam was broken; what comes again within CLEAR_AGAIN_NS belongs to it."""

    began_ns: int
    changed_ns: int
    edges_count: int = 1
    blocked: bool = True
    dark_ns: int = 0


@dataclass(slots=True)
class _Beam:
    breaks: list[_Break] = field(default_factory=list)

    def edge(self, edge: Edge) -> None:
        last = self.breaks[-1] if self.breaks else None
        if last is not None and (last.blocked or edge.t_ns - last.changed_ns < CLEAR_AGAIN_NS):
            last.dark_ns += edge.t_ns - last.changed_ns if last.blocked else 0
            last.edges_count, last.changed_ns, last.blocked = last.edges_count + 1, edge.t_ns, edge.blocked
        elif edge.blocked:
            self.breaks.append(_Break(edge.t_ns, edge.t_ns))

    def between(self, from_ns: int, to_ns: int) -> list[_Break]:
        return [one for one in self.breaks if from_ns <= one.began_ns < to_ns]


class Trial:
    """Is shown every edge of all gates, from before the first call to the end."""

    def __init__(self, gates: Sequence[str]) -> None:
        self._beams = {gate: _Beam() for gate in gates}

    def edge(self, edge: Edge) -> None:
        """A beam changed."""
        self._beams.setdefault(edge.gate, _Beam()).edge(edge)

    def straws(
        self, gate: str, *, from_ns: int, every_ns: int = CALL_EVERY_NS, times_count: int = CALLS_COUNT
    ) -> Judged:
        """What is to be said of straws passed through `gate`, one after each call."""
        beam = self._beams[gate]
        windows = [beam.between(from_ns + n * every_ns, from_ns + (n + 1) * every_ns) for n in range(times_count)]
        missed = [number for number, found in enumerate(windows, 1) if not found]
        caught = times_count - len(missed)
        others = self._others(gate, from_ns, from_ns + times_count * every_ns)
        found = [f"{caught} of {times_count} straws of {STRAW_MM:g} mm seen{_at_least(caught, times_count)}"]
        found += self._dark(windows)
        cure = ""
        if missed:
            found.append(f"not seen: pass {', '.join(map(str, missed))}")
            cure = (
                "light reaches the receiver past the straw, or the straw went by beside the beam: hoods with 4 mm "
                "openings, less light (a larger R33), aim, height; then once more"
            )
        twice = [number for number, one in enumerate(windows, 1) if len(one) > 1]
        if twice:
            found.append(f"broken more than once: pass {', '.join(map(str, twice))}")
            cure = cure or "pass the straw through once, and take it out beside the beam; then once more"
        flickers = [one.edges_count for passes in windows for one in passes if one.edges_count > FLICKER_COUNT]
        if flickers:
            found.append(f"it flickers: {max(flickers)} edges in one pass")
            cure = cure or "line up the beam, more light, look at its plug; then once more"
        if beam.breaks and beam.breaks[-1].blocked:
            found.append("it is broken and does not clear")
            cure = "clear the beam; if nothing is in it, see that light and receiver have power and face each other"
        for other, count in others.items():
            found.append(f"the beam of gate {other} was broken as well, {_times(count)}")
            cure = (
                cure or "if you went to the right gate, plugs or pins are swapped, or one light reaches both receivers"
            )
        return Judged(not cure, tuple(found), cure)

    def calm(self, *, from_ns: int, to_ns: int) -> Judged:
        """What is to be said of a time of ripples in which nobody touched a beam."""
        counts = {gate: len(beam.between(from_ns, to_ns)) for gate, beam in self._beams.items()}
        standing = [g for g, b in self._beams.items() if b.breaks and b.breaks[-1].blocked]
        length_s = (to_ns - from_ns) / 1e9
        total = sum(counts.values())
        rate = 60 / length_s * float(gammaincinv(total + 1, _SURE))
        found = [
            f"{total} break{'s' * (total != 1)} by ripples in {length_s:.1f} s at {len(counts)} "
            f"beam{'s' * (len(counts) != 1)} (at most {rate:.1f} a minute, 95 %)"
        ]
        found += [f"gate {gate}: broken {_times(count)}" for gate, count in counts.items() if count]
        found += [f"gate {gate}: it is broken and does not clear" for gate in standing]
        if not total and not standing:
            return Judged(True, tuple(found))
        cure = (
            "raise the beams (30 to 50 mm above still water), or fill less water; wipe drops off the hoods; once more"
        )
        return Judged(False, tuple(found), cure)

    def _others(self, gate: str, from_ns: int, to_ns: int) -> dict[str, int]:
        counts = {name: len(b.between(from_ns, to_ns)) for name, b in self._beams.items() if name != gate}
        return {name: count for name, count in counts.items() if count}

    @staticmethod
    def _dark(windows: Sequence[Sequence[_Break]]) -> list[str]:
        """How long straws kept it dark: the mean and how much it varies."""
        dark_ms = [one.dark_ns / 1e6 for passes in windows for one in passes if not one.blocked]
        if len(dark_ms) < 2:
            return []
        return [f"dark for {np.mean(dark_ms):.0f} ms each, varying by {np.std(dark_ms, ddof=1):.0f} ms"]


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _at_least(caught: int, times: int) -> str:
    if not caught:
        return ""
    return f" (at least {100 * float(betaincinv(caught, times - caught + 1, 1 - _SURE)):.0f} % are, 95 %)"
