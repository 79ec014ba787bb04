"""Lengths without the noise in them, against the published inflation of raw paths."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.results import path
from logger.results.motion import smooth


def raw_length(track: Any) -> float:
    return float(np.hypot(np.diff(track.x_mm), np.diff(track.y_mm)).sum())


@pytest.mark.parametrize(
    ("speed", "sigma", "inflation_percent"), [(200.0, 0.5, 0.564), (200.0, 1.0, 2.277), (200.0, 2.0, 9.577)]
)
def test_raw_fixes_add_their_noise_and_the_smoothed_way_does_not(
    shop: Any, speed: float, sigma: float, inflation_percent: float
) -> None:
    """Mean segment by Rice's distribution at 30 pictures a second (step 6.667 mm); 40 s of straight way."""
    track = shop.track(lambda t: speed * t, until_s=40, noise_mm=sigma)
    true = speed * (len(track.t_ns) - 1) / 30
    assert 100 * (raw_length(track) / true - 1) == pytest.approx(inflation_percent, rel=0.12)
    motion = smooth(track)
    found = path.way(motion, 0.0, float(motion.time_s[-1]))
    assert abs(found.length_mm / true - 1) < 5e-4


def test_a_minute_at_rest_is_no_journey(shop: Any) -> None:
    """Raw fixes with 1 mm of noise make 3.2 m of way (step 0: σ√π a picture)."""
    track = shop.track(np.zeros_like, until_s=60, noise_mm=1.0)
    assert raw_length(track) == pytest.approx(1799 * 1.77245, rel=0.03)
    motion = smooth(track)
    assert path.way(motion, 0.0, float(motion.time_s[-1])).length_mm < 120


def test_a_half_circle(shop: Any) -> None:
    """Length πr, straight distance 2r, sideways r."""
    r, w = 400.0, np.pi / 6
    motion = smooth(
        shop.track(lambda t: -r * np.cos(w * t), aside=lambda t: r * np.sin(w * t), until_s=6.0 + 1 / 30, noise_mm=0.05)
    )
    found = path.way(motion, 0.0, 6.0)
    assert found.length_mm == pytest.approx(np.pi * r, rel=3e-4)
    assert found.straightness == pytest.approx(2 / np.pi, rel=3e-4)
    assert found.sideways_mm == pytest.approx(r, rel=1e-3)


def test_there_and_back_is_not_straight(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 100 * np.sin(t * np.pi / 4), until_s=8.1, noise_mm=0.05))
    found = path.way(motion, 0.0, 8.0)
    assert found.length_mm == pytest.approx(400, rel=5e-3)
    assert found.straightness < 0.01


def test_places_between_frames_are_those_of_the_motion(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 150 * t + 20 * np.sin(2 * t)))
    times = np.linspace(0.01, 7.9, 200)
    assert np.abs(path.places_at(motion, times) - motion.states_at(times)[:, [0, 3]]).max() < 2e-3


def test_a_bend_in_a_gap_between_pictures_is_not_cut_off(shop: Any) -> None:
    """A wave of 50·cos(x/300) at 600 mm/s, its crest at 3 s; no pictures for 0.4 s around it. By eye: the crest stands
    50 mm off the middle of the wave, which is where a stretch from 2.2146 to 3.7854 s begins and ends."""
    crest_s, quarter_s = 3.0, 300 * np.pi / 2 / 600
    whole = shop.track(
        lambda t: 600 * (t - crest_s), until_s=6.0, noise_mm=0.05, aside=lambda t: 50 * np.cos(2 * (t - crest_s))
    )
    time = (whole.t_ns - whole.t_ns[0]) / 1e9
    seen = np.abs(time - crest_s) > 0.2
    names = ("t_ns", "x_mm", "y_mm", "heading_rad", "noise_mm2", "u_heading_rad", "quality", "frame")
    motion = smooth(replace(whole, **{name: getattr(whole, name)[seen] for name in names}))
    found = path.way(motion, crest_s - quarter_s, crest_s + quarter_s)
    assert found.sideways_mm == pytest.approx(50.0, abs=0.3)
    t = np.linspace(-quarter_s, quarter_s, 20_001)
    length = np.hypot(np.diff(600 * t), np.diff(50 * np.cos(2 * t))).sum()
    assert found.length_mm == pytest.approx(length, abs=0.3)
