"""Edges of a simulated gate: states alternate, true passages are all there, false ones are confessed."""

from __future__ import annotations

from itertools import pairwise

import pytest

from logger.simulator import gates
from logger.simulator.scene import draw
from logger.simulator.wishes import Wishes


@pytest.mark.parametrize("seed", range(6))
def test_levels_of_a_beam_alternate_in_every_tier(seed: int) -> None:
    scene = draw(tier="hard", kind="straight", seed=seed, asked=Wishes())
    edges = gates.edges(scene)
    assert all(a.t_ns <= b.t_ns for a, b in pairwise(edges))
    for beam in scene.beams:
        levels = [edge.blocked for edge in edges if edge.gate == beam.name]
        assert levels[0]
        assert all(a != b for a, b in pairwise(levels))


@pytest.mark.parametrize("seed", range(6))
def test_every_true_passage_has_an_edge_within_the_stamps_jitter(seed: int) -> None:
    scene = draw(tier="hard", kind="drift", seed=seed, asked=Wishes())
    edges = gates.edges(scene)
    for beam in scene.beams:
        for moment, blocked in gates.passages_s(scene, beam):
            near = [
                abs(edge.t_ns - scene.t_ns(moment))
                for edge in edges
                if (edge.gate, edge.blocked) == (beam.name, blocked)
            ]
            assert min(near) < 6 * scene.tier.stamp_jitter_ns


def test_false_breaks_are_far_from_the_true_ones_and_only_in_the_harder_tiers() -> None:
    confessed = 0
    for seed in range(20):
        assert gates.pulses(draw(tier="easy", kind="drift", seed=seed, asked=Wishes())) == []
        scene = draw(tier="hard", kind="drift", seed=seed, asked=Wishes())
        for pulse in gates.pulses(scene):
            beam = next(beam for beam in scene.beams if beam.name == pulse.gate)
            confessed += 1
            assert pulse.from_s < pulse.to_s
            assert all(not pulse.from_s < moment < pulse.to_s for moment, _ in gates.passages_s(scene, beam))
    assert confessed > 10
