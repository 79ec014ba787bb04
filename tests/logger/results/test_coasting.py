"""Coasts whose law is known, with the noise of a camera: the law, its coefficients, and how often their doubt holds."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from calibration.quantity import Quantity
from logger.results import coast, coasting
from logger.results.budget import Owner
from logger.results.coasting import Coasting
from logger.results.measure import conclude
from logger.results.motion import smooth
from logger.results.trial import NotMeasured

LAWS = {
    "linear": (coast.linear_way, (400.0, 0.5)),
    "quadratic": (coast.quadratic_way, (400.0, 0.004)),
    "combined": (coast.combined_way, (400.0, 0.3, 0.002)),
}
TRUE = {"linear": (0.5, 0.0), "quadratic": (0.0, 0.004), "combined": (0.3, 0.002)}


def coasted(shop: Any, law: str, *, seed: int = 1, noise_mm: float = 0.3, until_s: float = 6.0) -> Any:
    form, parameters = LAWS[law]
    track = shop.track(lambda t: form(t, np.array(parameters))[0], until_s=until_s, noise_mm=noise_mm, seed=seed)
    motion = smooth(track)
    return found_in(shop, track, motion, speed=speed_of(law))


def speed_of(law: str) -> float:
    """After 0.2 s, from the law itself."""
    return float(np.diff(LAWS[law][0](np.array([0.199, 0.201]), np.array(LAWS[law][1]))[0])[0] / 0.002)


def found_in(shop: Any, track: Any, motion: Any, *, speed: float) -> Any:
    at_line = Quantity.of(speed, "mm/s", u=1.0, source="speed at the line")
    owner = Owner("run-1", shop.boat())
    return coasting.of_coast(track, motion, 0.2, float(motion.time_s[-1]), at_line=at_line, owner=owner)


@pytest.mark.parametrize("law", LAWS)
def test_both_coefficients_come_out_of_one_coast(shop: Any, law: str) -> None:
    found = coasted(shop, law)
    assert isinstance(found, Coasting)
    linear, quadratic = TRUE[law]
    assert abs(found.linear.value - linear) < 3.5 * found.linear.u
    assert abs(found.quadratic.value - quadratic) < 3.5 * found.quadratic.u
    speed = speed_of(law)
    assert found.slowing.value == pytest.approx(linear * speed + quadratic * speed**2, rel=0.03)


@pytest.mark.parametrize("law", LAWS)
def test_the_doubt_of_a_coefficient_holds_the_truth_as_often_as_it_says(shop: Any, law: str) -> None:
    """Of 60 coasts the standard uncertainty holds about 68 %, twice of it about 95 %; seeds are fixed."""
    off = []
    for seed in range(60):
        found = coasted(shop, law, seed=seed, until_s=5.0)
        if isinstance(found, Coasting) and found.linear is not None:
            off.append((found.linear.value - TRUE[law][0]) / found.linear.u)
    assert len(off) > 50
    assert 0.5 < np.mean(np.abs(off) < 1) < 0.85
    assert np.mean(np.abs(off) < 2) > 0.88


def test_a_coast_that_does_not_tell_the_two_apart_gives_neither(shop: Any) -> None:
    found = coasted(shop, "combined", until_s=1.3, noise_mm=1.5)
    assert isinstance(found, Coasting)
    assert (found.linear, found.quadratic) == (None, None)
    assert any("which law" in source.name for source in found.slowing.contributions)
    speed = speed_of("combined")
    assert abs(found.slowing.value - (0.3 * speed + 0.002 * speed**2)) < found.slowing.U


def test_a_scale_that_is_off_moves_the_quadratic_part_as_its_unit_says(shop: Any) -> None:
    """All places 1 % farther apart: β in 1/mm is 1 % smaller, α stays."""
    form, p = LAWS["combined"]
    plain = shop.track(lambda t: form(t, np.array(p))[0], until_s=6.0, noise_mm=0.05)
    shifts = {"scale": np.column_stack([plain.x_mm, plain.y_mm]) * 0.01}
    track = replace(plain, shifts_mm=shifts)
    motion = smooth(track)
    found = found_in(shop, track, motion, speed=speed_of("combined"))
    assert isinstance(found, Coasting)
    parts = {source.name: part for source, part in found.quadratic.contributions.items()}
    assert parts["scale"] == pytest.approx(-0.01 * found.quadratic.value, rel=0.02)
    assert abs({s.name: c for s, c in found.linear.contributions.items()}.get("scale", 0.0)) < 1e-4


def test_a_drift_run_has_it_among_its_results(shop: Any, coasting: Any) -> None:
    rig = shop.rig(gates=False, last="mark")
    track = shop.track(lambda t: coasting(t, cut_s=5.0, speed=300.0, rate=0.8, at_mm=1100.0), until_s=13)
    trial = conclude(shop.recording(rig, kind="drift"), rig, track).trial
    linear, quadratic = (trial.results[n].quantity for n in ("drag_linear_per_s", "drag_quadratic_per_m"))
    assert abs(linear.value - 0.8) < linear.U
    assert abs(quadratic.value) < quadratic.U
    assert trial.results["deceleration_m_per_s2"].quantity.value == pytest.approx(0.24, rel=0.06)
    # 300·e^(-0.8·t) = 10 mm/s after ln(30)/0.8 s
    assert trial.results["coast_time_s"].quantity.value == pytest.approx(np.log(30) / 0.8, abs=0.25)


def test_a_coast_that_nobody_saw_is_said(shop: Any, coasting: Any) -> None:
    rig = shop.rig(last="mark")
    recording = shop.recording(rig, kind="drift", edges=shop.edges("A", (1, 1.5)) + shop.edges("B", (5, 5.5)))
    trial = conclude(recording, rig, None).trial
    assert isinstance(trial.not_measured["drag_linear_per_s"], NotMeasured)


def test_a_coast_that_ends_at_a_wall_is_given_for_still_air_with_the_doubt_of_a_draught(shop: Any) -> None:
    """From 250 to 100 mm/s in 2.2 s with a draught of 2 mm/s that so short a coast cannot show."""
    p = np.array([250.0, 0.15, 0.0023, 2.0])
    track = shop.track(lambda t: coast.drafted_way(t + 1e-9, p)[0], until_s=2.2, seed=1)
    motion = smooth(track)
    found = found_in(shop, track, motion, speed=240.0)
    assert isinstance(found, Coasting)
    assert found.law == "combined"
    parts = {source.name: part for source, part in found.linear.contributions.items()}
    assert abs(parts["draught over the water"]) > 0.003
    assert abs(found.linear.value - 0.15) < found.linear.U
    assert abs(found.quadratic.value - 0.0023) < found.quadratic.U
