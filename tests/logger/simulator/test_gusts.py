"""Puffs that run down the tank."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.gusts import Gusts
from logger.simulator.scene import draw
from logger.simulator.tiers import TIERS
from logger.simulator.wishes import Wishes

PUFFS = Gusts(1.5, 500.0, 1000.0, 150.0, 200.0, 0.0, 0.0)


def test_a_puff_is_where_its_speed_has_brought_it() -> None:
    x = np.linspace(-450, 450, 901)
    for t in (0.0, 0.5):
        gain = PUFFS.gain(np.column_stack([x + 500.0 * t, 0 * x]), t)
        assert gain.max() == pytest.approx(2.5)
        assert x[gain.argmax()] == pytest.approx(0.0, abs=1.0)
        assert gain[0] < 1.01


def test_the_next_puff_follows_at_its_distance() -> None:
    here = np.array([(130.0, 20.0)])
    assert PUFFS.gain(here, 0.3)[0] == pytest.approx(PUFFS.gain(here, 0.3 + 1000.0 / 500.0)[0])


def test_only_a_hard_fan_puffs() -> None:
    strengths = [draw(tier=tier, kind="drift", seed=2, asked=Wishes()).gusts.strength for tier in TIERS]
    assert strengths[:2] == [0.0, 0.0]
    assert strengths[2] >= 0.6
