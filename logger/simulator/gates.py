"""What the light beams say: an edge when a boat enters or leaves a beam, with bounce and the jitter of its stamp.

In the harder tiers also what is no hull: rigging that breaks the beam again, and breaks by nothing that can be named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.records import Edge
from logger.simulator.chance import stream
from logger.simulator.scene import Scene
from logger.simulator.voyage import TrueLine

SOURCE = "simulated gates"
_APART_S = 0.02
"""False breaks keep this far from the true edges."""


@dataclass(frozen=True, slots=True)
class Pulse:
    """A break of a beam that is no passage of a hull."""

    gate: str
    from_s: float
    to_s: float
    why: str
    """rigging or nothing."""


def passages_s(scene: Scene, beam: TrueLine) -> list[tuple[float, bool]]:
    """True moments at which `beam` becomes blocked (True) or clear (False), seconds of the recording."""
    voyage, until = scene.voyage, scene.length_s
    fronts = [(moment, 1 if forward else -1) for moment, forward in voyage.front_changes_s(beam, until_s=until)]
    rears = [(moment, -1 if forward else 1) for moment, forward in voyage.rear_changes_s(beam, until_s=until)]
    return [(moment, change > 0) for moment, change in sorted(fronts + rears)]


def pulses(scene: Scene) -> list[Pulse]:
    """Every break that is no passage, in the order of the beams; none in the easy tier."""
    rng = stream(scene.seed, "pulses")
    found: list[Pulse] = []
    for beam in scene.beams:
        passages = passages_s(scene, beam)
        drawn = _rigging(rng, scene, beam.name, passages) + _nothing(rng, scene, beam.name)
        for pulse in sorted(drawn, key=lambda p: p.from_s):
            mine = [p for p in found if p.gate == beam.name]
            if _is_free(pulse, passages, scene.length_s) and all(p.to_s + _APART_S < pulse.from_s for p in mine):
                found.append(pulse)
    return found


def _rigging(rng: np.random.Generator, scene: Scene, gate: str, passages: list[tuple[float, bool]]) -> list[Pulse]:
    """Sheets and sail that trail after the hull."""
    cleared = [moment for moment, blocked in passages if not blocked]
    if scene.sail is None or not cleared or rng.random() >= scene.tier.chatter:
        return []
    begins = cleared[0] + rng.uniform(0.03, 0.4, int(rng.integers(1, 4)))
    return [Pulse(gate, float(b), float(b + rng.uniform(0.002, 0.04)), "rigging") for b in begins]


def _nothing(rng: np.random.Generator, scene: Scene, gate: str) -> list[Pulse]:
    count = int(rng.poisson(scene.tier.false_pulses_per_min * scene.length_s / 60.0))
    begins = rng.uniform(0.1, scene.length_s - 0.3, count)
    return [
        Pulse(gate, float(b), float(b + np.exp(rng.uniform(np.log(0.0005), np.log(0.2)))), "nothing") for b in begins
    ]


def _is_free(pulse: Pulse, passages: list[tuple[float, bool]], until_s: float) -> bool:
    """Whether the beam is clear from before the pulse to after it."""
    before = [blocked for moment, blocked in passages if moment < pulse.from_s]
    near = any(pulse.from_s - _APART_S < moment < pulse.to_s + _APART_S for moment, _ in passages)
    return not near and not (before and before[-1]) and pulse.to_s + _APART_S < until_s


def edges(scene: Scene) -> tuple[Edge, ...]:
    """Every edge of the recording in order of its stamp, as the gate driver would have sent them."""
    rng = stream(scene.seed, "edges")
    found: list[tuple[int, str, bool]] = []
    for beam in scene.beams:
        for moment, blocked in passages_s(scene, beam):
            first = _stamped(rng, scene, moment)
            found.append((first, beam.name, blocked))
            found.extend((t_ns, beam.name, state) for t_ns, state in _bounces(rng, scene, first, blocked))
    for pulse in pulses(scene):
        found.append((_stamped(rng, scene, pulse.from_s), pulse.gate, True))
        found.append((max(_stamped(rng, scene, pulse.to_s), found[-1][0] + 1000), pulse.gate, False))
    return tuple(Edge(t_ns, gate, blocked, SOURCE) for t_ns, gate, blocked in sorted(found))


def _stamped(rng: np.random.Generator, scene: Scene, t_s: float) -> int:
    return scene.t_ns(t_s) + round(float(rng.normal(0, scene.tier.stamp_jitter_ns)))


def _bounces(rng: np.random.Generator, scene: Scene, t_ns: int, blocked: bool) -> list[tuple[int, bool]]:
    """An even number of further edges within a few milliseconds, ending in the state of the first."""
    if rng.random() >= scene.tier.bounce:
        return []
    count = 2 * int(rng.integers(1, 4))
    waits = np.cumsum(rng.uniform(100_000, 900_000, count)).astype(int)
    return [(t_ns + int(wait), blocked if n % 2 else not blocked) for n, wait in enumerate(waits)]
