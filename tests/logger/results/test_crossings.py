from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from calibration.quantity import Quantity, Source
from logger.results.budget import Owner
from logger.results.crossings import CameraDoubts, Reached, agreement, by_camera, moment_near_s, moment_s
from logger.results.lines import ahead
from logger.results.motion import smooth


def steady(t: Any) -> Any:
    """The bow (100 mm ahead) is at 0 after 2.0 s and at 1200 mm after 8.0 s."""
    return 200 * t - 500


def owner(shop: Any) -> Owner:
    return Owner("run-1", shop.boat())


@pytest.fixture(scope="module")
def line(shop: Any) -> Any:
    rig = shop.rig()
    return ahead(rig.lines[0], rig)


def test_the_moment_falls_between_frames(shop: Any, line: Any) -> None:
    for late_s in (0.0, 0.009, 0.02, 0.031):
        motion = smooth(shop.track(lambda t, late_s=late_s: steady(t - late_s), noise_mm=0.02))
        assert moment_s(motion, line) == pytest.approx(2.0 + late_s, abs=2e-4)


def test_its_doubt_is_the_scatter_of_many_noisy_runs(shop: Any, line: Any) -> None:
    found, told = [], []
    for seed in range(80):
        motion = smooth(shop.track(steady, until_s=4, noise_mm=1.0, seed=seed, u_outline_mm=0.0))
        reached = by_camera(motion, line, CameraDoubts(owner(shop)), origin_ns=shop.zero_ns)
        found.append(reached.time.value)
        told.append(next(c for s, c in reached.time.contributions.items() if s.name.startswith("positions")))
    assert np.mean(found) == pytest.approx(2.0, abs=5e-4)
    assert np.std(found) < 1.25 * np.mean(told)  # honest
    assert np.std(found) > 0.5 * np.mean(told)  # and not timid
    # better than the mean of two frames alone: 1 mm at 200 mm/s would give 5 ms * sqrt(2/3)
    assert np.mean(told) < 0.005 * np.sqrt(2 / 3)


def test_every_source_counts_in_seconds_by_the_speed(shop: Any, line: Any) -> None:
    shift = np.tile([0.8, 0.3], (240, 1))
    motion = smooth(shop.track(steady, noise_mm=0.05, shifts_mm={"freeboard": shift, "camera height": -shift}))
    reached = by_camera(motion, line, CameraDoubts(owner(shop), u_delay_s=0.003), origin_ns=shop.zero_ns)
    parts = {s.name: c for s, c in reached.time.contributions.items()}
    assert parts["freeboard"] == pytest.approx(-0.8 / 200, rel=0.02)
    assert parts["camera height"] == pytest.approx(0.8 / 200, rel=0.02)
    assert parts["start line place"] == pytest.approx(0.5 / 200, rel=0.02)
    assert parts["boat outline"] == pytest.approx(-0.4 / 200, rel=0.02)
    assert parts["camera delay"] == -0.003


def test_at_a_slow_start_the_doubt_looks_both_ways(shop: Any, line: Any) -> None:
    """From rest 2 mm before the line at 100 mm/s²: ± 1 mm are not ± 1/v but 0.200 s -> 0.141 and 0.245 s."""
    motion = smooth(shop.track(lambda t: -102 + 50 * np.maximum(t - 2, 0) ** 2, noise_mm=0.02, u_outline_mm=1.0))
    reached = by_camera(motion, line, CameraDoubts(owner(shop)), origin_ns=shop.zero_ns)
    outline = next(c for s, c in reached.time.contributions.items() if s.name == "boat outline")
    assert -outline == pytest.approx(np.sqrt((0.0586**2 + 0.0449**2) / 2), rel=0.1)


@pytest.mark.parametrize(
    ("way", "reason"),
    [
        (lambda t: 20 * t - 400, "did not see the bow reach the start line"),
        (lambda t: 200 * t + 300, "already past the start line"),
    ],
)
def test_what_was_not_seen_has_a_sentence(shop: Any, line: Any, way: Any, reason: str) -> None:
    missing = by_camera(smooth(shop.track(way)), line, CameraDoubts(owner(shop)), origin_ns=0)
    assert not missing
    assert reason in missing.reason


def test_a_bow_that_trembles_before_the_line_has_not_crossed_it(shop: Any, line: Any) -> None:
    motion = smooth(shop.track(lambda t: np.where(t < 5, -99.9 + 0.8 * np.sin(3 * t) - 1.0, -100 + 200 * (t - 5))))
    assert moment_s(motion, line) == pytest.approx(5.0, abs=0.06)


def test_a_second_crossing_is_not_the_first(shop: Any, line: Any) -> None:
    motion = smooth(shop.track(lambda t: -100 + 60 * np.sin(t - 1.0), until_s=9))
    assert moment_s(motion, line) == pytest.approx(1.0, abs=0.02)
    assert moment_s(motion, line, after_s=5.0) == pytest.approx(1.0 + 2 * np.pi, abs=0.02)


def test_the_crossing_next_to_a_guess(shop: Any, line: Any) -> None:
    motion = smooth(shop.track(steady, noise_mm=0.05))
    assert moment_near_s(motion, line, 2.06) == pytest.approx(moment_s(motion, line), abs=1e-6)
    assert moment_near_s(motion, line, 6.0) == 6.0  # too far to be the same


def test_gate_and_camera_agree_within_three_joint_doubts() -> None:
    gate = Reached("start", Quantity(2.000, "s", {Source("a"): 0.003}), "gate")
    camera = Reached("start", Quantity(2.010, "s", {Source("b"): 0.004}), "camera")
    found = agreement(gate, camera)
    assert found.difference_s == pytest.approx(-0.010)
    assert found.normalised == pytest.approx(2.0)
    assert found.holds
    assert not agreement(gate, Reached("start", Quantity(2.016, "s", {Source("b"): 0.004}), "camera")).holds
