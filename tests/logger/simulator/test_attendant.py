from __future__ import annotations

import math

import numpy as np
import pytest

from logger.simulator.attendant import Asked, Tub, covered_share, dark_at_first, edges, walk_through

STRAWS = Asked("A", 10_000_000_000, 3_000_000_000, 10)
RIPPLES = Asked("", 10_000_000_000, 60_000_000_000, 1)


def breaks(tub: Tub, asked: Asked, gate: str = "A") -> list[int]:
    return [edge.t_ns for edge in edges(tub, asked, source="gates") if edge.gate == gate and edge.blocked]


def test_a_straw_wider_than_the_beam_covers_all_of_it_and_a_thin_one_a_part() -> None:
    share = covered_share(np.array([0.0, 100.0, 3.0]), straw_mm=6.0, beam_mm=4.0)
    assert share[:2] == pytest.approx([1.0, 0.0])
    assert share[2] == pytest.approx(0.5), "its edge in the bundle's middle"
    # a strip of width w through a disc's middle, w much smaller than d: w·d over π·d²/4 (geometry)
    thin = covered_share(np.array([0.0]), straw_mm=0.04, beam_mm=4.0)[0]
    assert thin == pytest.approx(0.04 * 4.0 / (math.pi * 4), rel=1e-3)


def test_a_good_beam_is_broken_once_by_each_straw_for_as_long_as_it_takes() -> None:
    found = edges(Tub(("A", "B")), STRAWS, source="gates")
    assert [edge.blocked for edge in found] == [True, False] * 10
    assert {edge.gate for edge in found} == {"A"}
    for number, (broken, clear) in enumerate(zip(found[::2], found[1::2], strict=True)):
        assert 0 < broken.t_ns - (STRAWS.from_ns + number * STRAWS.every_ns) < STRAWS.every_ns
        # between a straw less than the beam (2 mm) and straw and beam (10 mm), at 175 to 350 mm/s
        assert 0.005 < (clear.t_ns - broken.t_ns) / 1e9 < 0.058


def test_too_much_light_passes_by_a_straw_and_too_little_never_clears() -> None:
    assert len(breaks(Tub(("A",), light_ratio=(18.0,)), STRAWS)) < 10
    weak = Tub(("A", "B"), light_ratio=(0.9,))
    assert breaks(weak, STRAWS) == []
    assert [(edge.gate, edge.blocked) for edge in dark_at_first(weak, t_ns=1, source="gates")] == [("A", True)]


def test_crests_break_only_beams_that_they_reach() -> None:
    assert breaks(Tub(("A",)), RIPPLES) == []
    low = breaks(Tub(("A",), above_water_mm=8.0, ripples_mm=12.0), RIPPLES)
    assert len(low) > 10
    assert all(RIPPLES.from_ns <= t_ns < RIPPLES.from_ns + RIPPLES.every_ns for t_ns in low)


def test_same_seed_same_passes() -> None:
    assert edges(Tub(("A",)), STRAWS, source="g") == edges(Tub(("A",)), STRAWS, source="g")
    assert edges(Tub(("A",), seed=2), STRAWS, source="g") != edges(Tub(("A",)), STRAWS, source="g")


def test_a_walk_passes_each_beam_once_in_its_order() -> None:
    found = walk_through(Tub(("A", "B")), from_ns=0, source="g")
    assert [(edge.gate, edge.blocked) for edge in found] == [("A", True), ("A", False), ("B", True), ("B", False)]
    assert [edge.t_ns for edge in found] == sorted(edge.t_ns for edge in found)
