"""Noise must not lengthen a path: the inflation that the Rice distribution predicts, and its absence from our result.

A segment between two noisy points is Rice-distributed; its mean is longer than the truth (see for example Ranacher et
al., Int. J. Geographical Information Science 30:316-333, 2016). The published means are the control: adding up raw
points gives them, and would give them to us too if the path were not taken from the smoothed curve.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.results import path
from logger.results.motion import smooth
from logger.vision.track import MEASURED, Track

Floats = NDArray[np.float64]
RATE_HZ = 30.0


def noisy_track(*, speed_mm_per_s: float, seconds: float, sigma_mm: float, seed: int) -> tuple[Track, Floats]:
    """A straight run with white noise on every fix, and its raw points (N, 2)."""
    count = int(seconds * RATE_HZ)
    t_ns = np.round(np.arange(count) / RATE_HZ * 1e9).astype(np.int64)
    points = np.column_stack([speed_mm_per_s * t_ns / 1e9, np.zeros(count)])
    points = points + np.random.default_rng(seed).normal(0, sigma_mm, points.shape)
    track = Track(
        t_ns=t_ns,
        x_mm=points[:, 0],
        y_mm=points[:, 1],
        heading_rad=np.zeros(count),
        noise_mm2=np.tile(np.eye(2) * sigma_mm**2, (count, 1, 1)),
        u_heading_rad=np.full(count, 0.01),
        quality=np.full(count, MEASURED, np.uint8),
        frame=np.arange(count),
        outline_mm=np.array([[80.0, 0.0], [0.0, 30.0], [-80.0, 0.0], [0.0, -30.0]]),
        u_outline_mm=0.1,
    )
    return track, points


def raw_length_mm(points: Floats) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


@pytest.mark.parametrize(
    ("name", "speed_mm_per_s", "sigma_mm"),
    [
        ("path.rice_d6.667_s0.5", 200.0, 0.5),
        ("path.rice_d6.667_s1.0", 200.0, 1.0),
        ("path.rice_d3.333_s1.0", 100.0, 1.0),
    ],
)
def test_raw_points_are_too_long_as_published_and_ours_is_not(
    published: dict[str, Any], *, name: str, speed_mm_per_s: float, sigma_mm: float
) -> None:
    mean_mm = published[name].value
    raw, ours = [], []
    for seed in range(8):
        track, points = noisy_track(speed_mm_per_s=speed_mm_per_s, seconds=20, sigma_mm=sigma_mm, seed=seed)
        raw.append(raw_length_mm(points) / (len(points) - 1))
        motion = smooth(track)
        ours.append(path.way(motion, 0.0, float(motion.time_s[-1])).length_mm / (len(points) - 1))
    true_mm = speed_mm_per_s / RATE_HZ
    assert np.mean(raw) == pytest.approx(mean_mm, rel=0.004)
    assert np.mean(ours) == pytest.approx(true_mm, rel=0.002)


def test_a_boat_at_rest_does_not_travel(published: dict[str, Any]) -> None:
    """A minute at 30 pictures a second and 1 mm of noise adds up to 3.2 m of false path; none of it is ours."""
    track, points = noisy_track(speed_mm_per_s=0.0, seconds=60, sigma_mm=1.0, seed=5)
    false_mm = published["path.rice_d0.0_s1.0"].value * (len(points) - 1)
    assert raw_length_mm(points) == pytest.approx(false_mm, rel=0.02)
    motion = smooth(track)
    assert path.way(motion, 0.0, float(motion.time_s[-1])).length_mm < 0.02 * false_mm
