from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from logger.checkup.first_pictures import edge_width_px, findings


def disc(softness_px: float, *, dark: float = 60.0, bright: float = 180.0, noise_levels: float = 1.5) -> np.ndarray:
    """A bright disc whose edge is a Gaussian's running sum, in all directions; nothing is resampled."""
    v, u = np.indices((300, 400)).astype(float)
    light = dark + (bright - dark) * ndtr((100 - np.hypot(u - 200, v - 150)) / softness_px)
    noise = np.random.default_rng(1).normal(0, noise_levels, light.shape)
    return np.clip(light + noise, 0, 255).round().astype(np.uint8)


def health(picture: np.ndarray) -> dict[str, str]:
    return {finding.part: finding.health for finding in findings(picture)}


@pytest.mark.parametrize("softness_px", [0.8, 1.0, 1.5, 2.0, 3.0, 4.0])
def test_the_width_of_an_edge_is_that_of_the_gaussian_it_was_drawn_with(softness_px: float) -> None:
    """10 % and 90 % of a normal distribution lie 2 · 1.2816 standard deviations apart (tables of quantiles)."""
    assert edge_width_px(disc(softness_px)) == pytest.approx(2 * 1.2816 * softness_px, rel=0.15)


def test_a_sharp_well_lit_picture_is_well() -> None:
    assert health(disc(0.8)) == {"camera: light": "well", "camera: sharpness": "well"}


def test_a_blurred_picture_is_doubtful() -> None:
    blurred = [finding for finding in findings(disc(3.0)) if finding.health == "doubtful"]
    assert [finding.part for finding in blurred] == ["camera: sharpness"]
    assert "focus" in blurred[0].cure


def test_black_dim_burnt_and_empty_pictures_are_told() -> None:
    assert health(np.full((100, 100), 12, np.uint8)) == {"camera: light": "wrong"}
    assert health(disc(0.8, dark=10, bright=60))["camera: light"] == "doubtful"
    assert health(disc(0.8, dark=60, bright=300))["camera: light"] == "doubtful"
    assert health(disc(0.8, dark=300, bright=60))["camera: light"] == "wrong"
    empty = health(np.random.default_rng(2).normal(128, 1.0, (100, 100)).astype(np.uint8))
    assert empty == {"camera: light": "well", "camera: sharpness": "wrong"}


def test_without_clear_edges_sharpness_cannot_be_told() -> None:
    slope = np.tile(np.linspace(60, 180, 400), (300, 1)).astype(np.uint8)
    assert edge_width_px(slope) is None
    told = [finding for finding in findings(slope) if finding.part == "camera: sharpness"]
    assert (told[0].health, told[0].found) == ("doubtful", "there are too few clear edges to tell")
