"""The camera on its stand: what it shows, which frames it loses, how it is knocked."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.mount import Bump
from logger.simulator.scene import draw
from logger.simulator.wishes import Wishes


@pytest.mark.parametrize("seed", range(6))
def test_the_whole_rim_is_in_the_picture_and_fills_it(seed: int) -> None:
    scene = draw(tier="hard", kind="drift", seed=seed, asked=Wishes())
    rim = scene.eye.see([(x, y, scene.basin.rim_mm) for x, y in scene.basin.outline_mm])
    assert (rim > 9).all()
    assert (rim < (1270, 710)).all()
    assert np.ptp(rim[:, 0]) > 1000 or np.ptp(rim[:, 1]) > 600


def test_a_knock_swings_back_and_leaves_the_picture_aside() -> None:
    bump = Bump(2.0, (5.0, 0.0), 30.0, 0.2, (1.0, -2.0))
    assert bump.shift_px(1.99) == (0.0, 0.0)
    assert max(abs(bump.shift_px(2.0 + t)[0]) for t in np.linspace(0, 0.2, 50)) > 3
    np.testing.assert_allclose(bump.shift_px(9.0), (1.0, -2.0), atol=1e-6)


def test_the_hard_tier_loses_about_seven_in_a_hundred_frames_in_bursts() -> None:
    kept, sent, longest = 0, 0, 0
    for seed in range(20):
        sequence = draw(tier="hard", kind="drift", seed=seed, asked=Wishes()).shutter.sequence
        kept, sent = kept + len(sequence), sent + int(sequence[-1]) + 1
        longest = max(longest, int(np.diff(sequence).max()) - 1)
    assert 1 - kept / sent == pytest.approx(0.07, abs=0.02)
    assert longest >= 4
