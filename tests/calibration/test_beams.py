from __future__ import annotations

import math

import numpy as np
import pytest

from calibration.beams import Sighting, solve_beams
from calibration.quantity import Source

DELAY, OUTLINE, HEIGHT = Source("camera delay"), Source("boat outline"), Source("camera height")


def sighting(gate: str, past_mm: float, *, u_mm: float = 0.5, label: str = "pull", **parts: float) -> Sighting:
    named = {"delay": DELAY, "outline": OUTLINE, "height": HEIGHT}
    return Sighting(gate, label, past_mm, u_mm, {named[k]: v for k, v in parts.items()})


def test_without_shared_doubt_the_place_is_the_weighted_mean() -> None:
    """Weights 1/u²: (4·1 + 1·6)/5 = 2, u = 1/√(4 + 1) (any textbook, as JCGM 100:2008, H.5 does)."""
    fit = solve_beams([sighting("A", 1.0, u_mm=0.5), sighting("A", 6.0, u_mm=1.0)])
    assert fit.places["A"].value == pytest.approx(2.0)


def test_the_solution_is_that_of_a_library_of_others() -> None:
    """Generalised least squares by statsmodels 0.14, GLS with the same covariance."""
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    speeds = [120.0, 300.0, 500.0, -200.0, -400.0]
    seen = [
        sighting(g, rng.normal(0, 0.3), u_mm=0.3 + 0.1 * n, delay=0.001 * v, outline=math.copysign(0.4, v), height=h)
        for g, h in (("A", -0.6), ("B", 0.7))
        for n, v in enumerate(speeds)
    ]
    fit = solve_beams(seen)
    assert fit.left_out == ()
    names = (DELAY, OUTLINE, HEIGHT)
    parts = np.array([[s.parts_mm[n] for n in names] for s in seen])
    stretch = max(1.0, fit.chi_square)
    covariance = np.diag([s.u_mm**2 * stretch for s in seen]) + parts @ parts.T
    design = np.array([[s.gate == "A", s.gate == "B"] for s in seen], float)
    other = sm.GLS([s.past_mm for s in seen], design, covariance).fit()
    assert [fit.places[g].value for g in "AB"] == pytest.approx(list(other.params), abs=1e-9)
    assert [fit.places[g].u for g in "AB"] == pytest.approx(
        list(np.sqrt(np.diag(other.normalized_cov_params))), rel=1e-6
    )


def test_there_and_back_frees_the_place_from_delay_and_outline() -> None:
    one_way = solve_beams([sighting("A", 0.0, delay=5.0, outline=0.4) for _ in range(4)])
    both = solve_beams([sighting("A", 0.0, delay=s * 5.0, outline=s * 0.4) for s in (1, 1, -1, -1)])
    assert one_way.places["A"].u > 5.0
    assert both.places["A"].u < 0.3


def test_slow_and_fast_pulls_tell_the_delay() -> None:
    """The camera is 2 u late: sightings lie 2·part too far on."""
    fit = solve_beams([sighting("A", 3.0 + 2 * part, u_mm=0.2, delay=part) for part in (1.0, 2.0, 5.0, 10.0)])
    assert fit.learnt[DELAY].off == pytest.approx(2.0, abs=0.05)
    assert fit.learnt[DELAY].u_off < 0.1
    assert fit.places["A"].value == pytest.approx(3.0, abs=0.3)


def test_what_gates_share_cancels_between_them() -> None:
    fit = solve_beams([sighting(g, 0.0, u_mm=0.3, delay=6.0) for g in ("A", "B") for _ in range(3)])
    assert fit.places["A"].u > 5.0
    assert (fit.places["B"] - fit.places["A"]).u < 0.5


def test_a_hand_in_the_beam_is_left_out_and_told() -> None:
    good = [sighting("A", past, label=f"pull {n}") for n, past in enumerate((0.1, -0.4, 0.3, 0.0))]
    fit = solve_beams([*good, sighting("A", 40.0, label="pull 4")])
    (out,) = fit.left_out
    assert out.sighting.label == "pull 4"
    assert out.off_mm == pytest.approx(40.0, abs=0.5)
    assert fit.places["A"].value == pytest.approx(0.0, abs=0.1)


def test_of_two_that_disagree_neither_is_left_out_but_the_doubt_grows() -> None:
    fit = solve_beams([sighting("A", 0.0), sighting("A", 20.0)])
    assert fit.left_out == ()
    assert fit.places["A"].value == pytest.approx(10.0)
    assert fit.places["A"].u == pytest.approx(10.0, rel=0.01)
    assert fit.places["A"].dof == 1.0


def test_one_sighting_of_each_gate_is_enough_and_proves_nothing() -> None:
    fit = solve_beams([sighting("A", 2.0), sighting("B", -1.0)])
    assert math.isnan(fit.chi_square)
    assert fit.places["A"].value == 2.0


def test_sightings_that_agree_to_the_last_digit_are_no_trouble() -> None:
    fit = solve_beams(
        [sighting("A", 45.0, delay=0.3), sighting("A", 45.0, delay=0.305), sighting("A", 45.0, delay=0.31)]
    )
    assert fit.chi_square == pytest.approx(0.0, abs=1e-9)
    assert fit.places["A"].value == pytest.approx(45.0)


def test_nothing_and_no_number_are_refused() -> None:
    with pytest.raises(ValueError, match="no sighting of any gate"):
        solve_beams([])
    with pytest.raises(ValueError, match="no number"):
        solve_beams([sighting("A", math.nan)])


def test_the_stated_doubt_covers_the_truth() -> None:
    """Drawn from exactly what is stated: 95 % must be held, over 400 draws to within 4 standard errors."""
    rng = np.random.default_rng(8)
    held = []
    for _ in range(400):
        delay, outline, height = rng.normal(size=3)
        true = rng.normal(0, 20, 2)
        seen = []
        for gate, place, h in (("A", true[0], -0.6), ("B", true[1], 0.7)):
            for v in (120.0, 400.0, -250.0):
                parts = {"delay": 0.002 * v, "outline": math.copysign(0.5, v), "height": h}
                off = parts["delay"] * delay + parts["outline"] * outline + h * height
                seen.append(sighting(gate, place + off + rng.normal(0, 0.5), **parts))
        fit = solve_beams(seen)
        held += [abs(fit.places[g].value - t) <= fit.places[g].U for g, t in zip("AB", true, strict=True)]
    assert 0.93 <= np.mean(held) <= 0.99
