"""Coasts whose law is known, with the noise of a camera: the law, its coefficients, and how often their doubt holds."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from logger.results import coast, coasting
from logger.results.coast import Drag
from logger.results.measure import conclude
from logger.results.motion import smooth
from logger.results.trial import NotMeasured

LAWS = {
    "linear": (coast.linear_way, (400.0, 0.5)),
    "quadratic": (coast.quadratic_way, (400.0, 0.004)),
}


def coasted(shop: Any, law: str, *, seed: int = 1, noise_mm: float = 0.3, until_s: float = 6.0) -> Any:
    form, parameters = LAWS[law]
    track = shop.track(lambda t: form(t, np.array(parameters))[0], until_s=until_s, noise_mm=noise_mm, seed=seed)
    motion = smooth(track)
    return coasting.of_coast(track, motion, 0.0, float(motion.time_s[-1]))


@pytest.mark.parametrize("law", LAWS)
def test_the_law_is_told_by_the_coast(shop: Any, law: str) -> None:
    found = coasted(shop, law)
    assert isinstance(found, Drag)
    assert found.law == law
    speed, rate = LAWS[law][1]
    assert found.speed_mm_per_s == pytest.approx(speed, rel=0.01)
    slowing = rate * speed if law == "linear" else rate * speed**2
    assert found.deceleration_mm_per_s2 == pytest.approx(slowing, rel=0.03)


@pytest.mark.parametrize("law", LAWS)
def test_the_doubt_of_a_coefficient_holds_the_truth_as_often_as_it_says(shop: Any, law: str) -> None:
    """Of 60 coasts the standard uncertainty holds about 68 %, twice of it about 95 %; seeds are fixed."""
    rate = LAWS[law][1][1]
    off = []
    for seed in range(60):
        found = coasted(shop, law, seed=seed, until_s=4.0)
        if isinstance(found, Drag) and found.law == law:
            value = found.linear_per_s if law == "linear" else found.quadratic_per_mm
            off.append((value - rate) / (found.u_linear_per_s if law == "linear" else found.u_quadratic_per_mm))
    assert len(off) > 50
    assert 0.5 < np.mean(np.abs(off) < 1) < 0.85
    assert np.mean(np.abs(off) < 2) > 0.88


def test_the_combined_law_needs_plain_evidence(shop: Any) -> None:
    """A long quiet coast with both terms: 0.13 1/s and 1 1/m, as of a boat of 150 g (from memory)."""
    track = shop.track(
        lambda t: coast.combined_way(t, np.array([500.0, 0.4, 0.004]))[0], until_s=8.0, noise_mm=0.05, rate_hz=60.0
    )
    motion = smooth(track)
    found = coasting.of_coast(track, motion, 0.0, float(motion.time_s[-1]))
    assert isinstance(found, Drag)
    assert found.law == "combined"
    assert found.linear_per_s == pytest.approx(0.4, rel=0.1)
    assert found.quadratic_per_mm == pytest.approx(0.004, rel=0.1)


def test_a_drift_run_has_it_among_its_results(shop: Any, coasting: Any) -> None:
    rig = shop.rig(gates=False, last="mark")
    track = shop.track(lambda t: coasting(t, cut_s=5.0, speed=300.0, rate=0.8, at_mm=1100.0), until_s=13)
    trial = conclude(shop.recording(rig, kind="drift"), rig, track).trial
    assert trial.results["drag_linear_per_s"].quantity.value == pytest.approx(0.8, rel=0.05)
    assert trial.results["deceleration_m_per_s2"].quantity.value == pytest.approx(0.24, rel=0.06)
    assert "grows with the speed alone" in trial.not_measured["drag_quadratic_per_m"].reason
    # 300·e^(-0.8·t) = 10 mm/s after ln(30)/0.8 s
    assert trial.results["coast_time_s"].quantity.value == pytest.approx(np.log(30) / 0.8, abs=0.25)


def test_a_coast_that_nobody_saw_is_said(shop: Any, coasting: Any) -> None:
    rig = shop.rig(last="mark")
    recording = shop.recording(rig, kind="drift", edges=shop.edges("A", (1, 1.5)) + shop.edges("B", (5, 5.5)))
    trial = conclude(recording, rig, None).trial
    assert isinstance(trial.not_measured["drag_linear_per_s"], NotMeasured)
