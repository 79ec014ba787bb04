"""What the light beams say: an edge when a boat enters or leaves a beam, with bounce and the jitter of its stamp."""

from __future__ import annotations

import numpy as np

from logger.records import Edge
from logger.simulator.chance import stream
from logger.simulator.scene import Scene
from logger.simulator.voyage import TrueLine

SOURCE = "simulated gates"


def passages_s(scene: Scene, beam: TrueLine) -> list[tuple[float, bool]]:
    """True moments at which `beam` becomes blocked (True) or clear (False), seconds of the recording."""
    voyage, until = scene.voyage, scene.length_s
    fronts = [(moment, 1 if forward else -1) for moment, forward in voyage.front_changes_s(beam, until_s=until)]
    rears = [(moment, -1 if forward else 1) for moment, forward in voyage.rear_changes_s(beam, until_s=until)]
    return [(moment, change > 0) for moment, change in sorted(fronts + rears)]


def edges(scene: Scene) -> tuple[Edge, ...]:
    """Every edge of the recording in order of its stamp, as the gate driver would have sent them."""
    rng = stream(scene.seed, "edges")
    found: list[tuple[int, str, bool]] = []
    for beam in scene.beams:
        for moment, blocked in passages_s(scene, beam):
            first = scene.t_ns(moment) + round(float(rng.normal(0, scene.tier.stamp_jitter_ns)))
            found.append((first, beam.name, blocked))
            found.extend((t_ns, beam.name, state) for t_ns, state in _bounces(rng, scene, first, blocked))
    return tuple(Edge(t_ns, gate, blocked, SOURCE) for t_ns, gate, blocked in sorted(found))


def _bounces(rng: np.random.Generator, scene: Scene, t_ns: int, blocked: bool) -> list[tuple[int, bool]]:
    """An even number of further edges within a few milliseconds, ending in the state of the first."""
    if rng.random() >= scene.tier.bounce:
        return []
    count = 2 * int(rng.integers(1, 4))
    waits = np.cumsum(rng.uniform(100_000, 900_000, count)).astype(int)
    return [(t_ns + int(wait), blocked if n % 2 else not blocked) for n, wait in enumerate(waits)]
