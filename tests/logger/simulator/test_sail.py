"""Masts, sails and rocking."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.chance import stream
from logger.simulator.hull import Hull, outline
from logger.simulator.sail import Rocking, Sail, draw_sail
from logger.simulator.tiers import TIERS

HULL = Hull(outline("pointed", length_mm=200, width_mm=80), 1.0, 20.0, 10.0)


def test_about_half_of_the_realistic_boats_have_a_sail_and_no_easy_one() -> None:
    drawn = [draw_sail(stream(seed, "sail"), TIERS["realistic"], HULL) for seed in range(200)]
    # 200 draws of one half: a standard deviation of 7
    assert 79 <= sum(sail is not None for sail in drawn) <= 121
    assert all(draw_sail(stream(seed, "sail"), TIERS["easy"], HULL) is None for seed in range(20))


@pytest.mark.parametrize("square", [True, False])
def test_the_sail_stands_between_its_foot_and_its_top_and_turns_about_the_mast(square: bool) -> None:
    sail = Sail(square, 15.0, 30.0, 130.0, 80.0, 0.2, 0.1, 0.05, 4.0, 4.0, "paper")
    early, late = sail.cloth(0.0), sail.cloth(0.4)
    for cloth in (early, late):
        assert (cloth[:, 2].min(), cloth[:, 2].max()) == (30.0, 130.0)
    from_mast = [np.hypot(cloth[:, 0] - 15.0, cloth[:, 1]) for cloth in (early, late)]
    np.testing.assert_allclose(from_mast[0], from_mast[1])
    assert not np.allclose(early, late)
    assert sail.mast(20.0)[:, 2].min() == 20.0


def test_a_boat_at_rest_does_not_rock() -> None:
    times = np.linspace(0, 5, 100)
    roll, pitch = Rocking(0.02, 0.01, 6.0, 0.4).lean(times, np.zeros(100))
    assert not roll.any()
    assert not pitch.any()
    lively, _ = Rocking(0.02, 0.01, 6.0, 0.4).lean(times, np.ones(100))
    assert np.abs(lively).max() == pytest.approx(0.02, rel=0.01)
