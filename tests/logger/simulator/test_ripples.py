"""Waves against published values and against their own height."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.chance import stream
from logger.simulator.ripples import SLOWEST_WAKE_MM_PER_S, WaterGrid, Waves, angular_frequency, draw_waves
from logger.simulator.tiers import TIERS


def test_no_wave_on_deep_water_is_slower_than_231_mm_per_s() -> None:
    """Least phase speed of waves on clean water, 0.231 m/s at 17 mm (Lamb, Hydrodynamics, art. 267)."""
    wavelength = np.linspace(5, 100, 2000)
    k = 2 * np.pi / wavelength
    speed = angular_frequency(k, depth_mm=1000.0) / k
    assert speed.min() == pytest.approx(SLOWEST_WAKE_MM_PER_S, abs=0.5)
    assert wavelength[speed.argmin()] == pytest.approx(17.1, abs=0.2)


def test_long_waves_on_shallow_water_travel_at_the_root_of_g_times_depth() -> None:
    """Handbook values for 50, 100 and 150 mm: 0.700, 0.990 and 1.213 m/s."""
    k = np.array([2 * np.pi / 10_000])
    for depth, speed in ((50.0, 700.0), (100.0, 990.0), (150.0, 1213.0)):
        assert angular_frequency(k, depth_mm=depth)[0] / k[0] == pytest.approx(speed, rel=2e-3)


def waves() -> Waves:
    return draw_waves(stream(1, "waves"), TIERS["hard"], depth_mm=100.0, middle_mm=(500.0, 0.0))


def test_the_divergence_is_that_of_the_slopes() -> None:
    points = np.random.default_rng(3).uniform((0, -200), (900, 200), (50, 2))
    step = 0.05

    def slope(dx: float, dy: float) -> np.ndarray:
        return WaterGrid(waves(), points + np.array([dx, dy])).at(1.7).slope

    by_steps = (slope(step, 0) - slope(-step, 0))[:, 0] + (slope(0, step) - slope(0, -step))[:, 1]
    np.testing.assert_allclose(WaterGrid(waves(), points).at(1.7).bend_per_mm, by_steps / (2 * step), atol=2e-4)


def test_the_slopes_are_as_steep_as_asked() -> None:
    points = np.random.default_rng(4).uniform((0, -400), (2000, 400), (4000, 2))
    drawn = stream(1, "waves").uniform(*TIERS["hard"].ripple)
    slope = WaterGrid(waves(), points).at(0.3).slope
    assert np.sqrt((slope**2).sum(axis=1).mean()) == pytest.approx(drawn, rel=0.1)


def test_a_level_mirror_shows_the_lamp_where_the_angles_are_equal() -> None:
    """Camera and lamp at the same height: the mirror point is half way between them."""
    lamp = Waves(np.zeros((0, 2)), *(np.zeros(0),) * 3, 0.0, np.array([600.0, 0.0, 1500.0]), 1.0, 0.01)
    grid = WaterGrid(lamp, np.array([[300.0, 0.0], [400.0, 0.0]]))
    slope = grid.mirror_slope(np.array([0.0, 0.0, 1500.0]))
    np.testing.assert_allclose(slope[0], 0.0, atol=1e-12)
    assert slope[1, 0] > 0.01
