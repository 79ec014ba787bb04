"""How the light changes with time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.simulator.chance import stream
from logger.simulator.light import LightChange, draw_change, draw_light, draw_sun
from logger.simulator.painter import Painter
from logger.simulator.scene import draw
from logger.simulator.sight import Sight
from logger.simulator.tiers import TIERS
from logger.simulator.wishes import Wishes, wishes


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


def test_the_sun_makes_sharp_dark_shadows_in_a_share_of_the_runs() -> None:
    lamps = [draw_light(stream(seed, "light"), Wishes()) for seed in range(60)]
    suns = [draw_sun(stream(n, "sun"), TIERS["hard"], lamp, Wishes()) for n, lamp in enumerate(lamps)]
    sunny = [sun for sun, lamp in zip(suns, lamps, strict=True) if sun != lamp]
    # a half of sixty, to three standard deviations
    assert 18 < len(sunny) < 42
    assert all(sun.spread <= 0.2 and sun.shade >= 0.35 for sun in sunny)
    ways = np.sort([sun.from_rad for sun in sunny])
    assert np.diff([*ways, ways[0] + 2 * np.pi]).max() < np.pi / 2
    assert draw_sun(stream(1, "sun"), TIERS["easy"], lamps[0], Wishes()) == lamps[0]
    assert draw_sun(stream(1, "sun"), TIERS["easy"], lamps[0], wishes({"sun": True})).spread <= 0.2


def test_a_shadow_in_the_sun_has_a_sharper_edge() -> None:
    steep = {}
    for sun in (True, False):
        asked = {
            "noise_dn": 1e-6, "tank_length_mm": 900.0, "floor_pattern": "plain", "shade": 0.4, "water_depth_mm": 150.0,
            "freeboard_mm": 40.0, "shape": "tray",
        }  # fmt: skip
        scene = draw(tier="easy", kind="drift", seed=3, asked=wishes(asked | {"sun": sun}))
        scene = replace(scene, light=replace(scene.light, slant=0.9, from_rad=np.pi))
        bare = Painter(replace(scene, light=replace(scene.light, shade=0.0)))
        ratio = Painter(scene).frame(0) / np.maximum(bare.frame(0), 1.0)
        # ahead of the bow, away from the lamp, the shadow's edge lies on the floor
        x, y, _ = scene.voyage.pose([0.0])[0]
        middle, ahead = scene.eye.see([(x, y, 0.0), (x + 100.0, y, 0.0)])
        tips = Sight(scene).deck_shadow(0.0)[:, 0] * np.sign(ahead[0] - middle[0])
        tip = round(abs(float(tips.max())))
        near = ratio[round(float(middle[1])), tip - 12 : tip + 13].mean(axis=1)
        assert np.ptp(near) > 0.1
        steep[sun] = np.abs(np.diff(near)).max()
    assert steep[True] > 1.5 * steep[False]
