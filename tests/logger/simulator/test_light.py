"""How the light changes with time."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.chance import stream
from logger.simulator.light import LightChange, draw_change
from logger.simulator.tiers import TIERS


def test_mains_flicker_is_averaged_over_the_exposure() -> None:
    """A whole period of the light's own swing leaves nothing: 10 ms at 50 Hz mains."""
    flickering = LightChange((), (0.0, 1.0, 0.0), 0.05, 50.0, 0.3, 0.0, 0.0)
    times = np.linspace(0, 0.03, 200)
    assert np.ptp(flickering.rows(times, exposure_s=0.010)) < 1e-9
    assert np.ptp(flickering.rows(times, exposure_s=1e-6)) == pytest.approx(0.1, rel=0.01)


@pytest.mark.parametrize(("tier", "most"), [("realistic", 0.06), ("hard", 0.15)])
def test_the_slow_changes_stay_within_the_tiers_share_about_their_mean(tier: str, most: float) -> None:
    times = np.linspace(0, 60, 2000)
    for seed in range(20):
        change = draw_change(stream(seed, "light change"), TIERS[tier], from_s=100.0, to_s=101.0)  # type: ignore[index]
        slow = LightChange(change.swings, change.tilting, 0.0, 50.0, 0.0, 0.0, 0.0).rows(times, exposure_s=0.005)
        assert 0.0 < np.ptp(slow) <= 2 * most


def test_light_in_the_easy_tier_is_steady() -> None:
    assert draw_change(stream(1, "light change"), TIERS["easy"], from_s=1.0, to_s=9.0).steady


def test_a_step_comes_at_its_moment_and_stays() -> None:
    change = LightChange((), (0.0, 1.0, 0.0), 0.0, 50.0, 0.0, -0.2, 3.0)
    np.testing.assert_allclose(change.rows(np.array([0.0, 2.999, 8.0]), exposure_s=0.004), [1.0, 1.0, 0.8], atol=1e-9)
