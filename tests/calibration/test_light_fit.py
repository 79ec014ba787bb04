from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import logit
from scipy.stats import norm

from calibration.light_fit import (
    JITTERS_S,
    STRAY_SHARE,
    Near,
    Shape,
    WidthPrior,
    fit,
    log_likelihood,
    posterior,
    response,
)


def near(since_s: list[float], lit: list[float], *, on: bool = True, noise: float = 0.02) -> Near:
    n = len(since_s)
    direction = np.full(n, 1.0 if on else -1.0)
    return Near(np.array(since_s), direction, np.array(lit), (noise, noise), np.ones(n))


@settings(max_examples=60)
@given(
    st.floats(-0.02, 0.02), st.floats(-0.1, 1.1), st.booleans(), st.sampled_from([2e-5, 3e-4, 2e-3, 1e-2]),
)  # fmt: skip
def test_the_closed_form_is_the_integral_over_the_stamps_own_error(
    since_s: float, lit: float, on: bool, jitter_s: float
) -> None:
    """Against SciPy's numerical quadrature of normal density times normal density."""
    width, noise = 0.01, 0.05

    def at(error_s: float) -> float:
        under_way = np.clip(0.5 + (1 if on else -1) * (since_s + error_s) / width, 0, 1)
        return float(norm.pdf(lit, under_way, noise) * norm.pdf(error_s, 0, jitter_s))

    corners = [side * width / 2 - since_s for side in (-1, 1)]
    inside = sorted({c for c in corners if abs(c) < 9 * jitter_s} | {-9 * jitter_s, 0.0, 9 * jitter_s})
    whole = sum(quad(at, a, b, epsabs=1e-12)[0] for a, b in pairwise(inside))
    wanted = math.log((1 - STRAY_SHARE) * whole + STRAY_SHARE / 1.5)
    picture = near([since_s], [lit], on=on, noise=noise)
    got = log_likelihood(picture, np.array([0.0]), jitter_s, Shape(width))[0]
    assert got == pytest.approx(wanted, abs=2e-3)


@settings(max_examples=30)
@given(st.floats(-0.004, 0.004), st.floats(0.1, 0.9), st.sampled_from([-0.7, 0.5, 1.0]))
def test_with_a_bent_response_it_is_the_integral_as_well(since_s: float, lit: float, bend: float) -> None:
    """To a tenth, as the bent curve is taken for straight within the noise."""
    width, noise, jitter_s = 0.01, 0.01, 1e-3

    def at(error_s: float) -> float:
        shown = response(np.array([np.clip(0.5 + (since_s + error_s) / width, 0, 1)]), bend)[0]
        return float(norm.pdf(lit, shown, noise) * norm.pdf(error_s, 0, jitter_s))

    whole = quad(at, -8 * jitter_s, 8 * jitter_s, epsabs=1e-14, limit=400)[0]
    wanted = math.log((1 - STRAY_SHARE) * whole + STRAY_SHARE / 1.5)
    got = log_likelihood(near([since_s], [lit], noise=noise), np.array([0.0]), jitter_s, Shape(width, bend))[0]
    assert got == pytest.approx(wanted, abs=0.1)


def test_stamps_of_an_uneven_pace_are_trusted_less() -> None:
    """Where few pictures caught a switch, they themselves say little of the jitter."""
    even, uneven = (
        posterior(replace(near([0.001], [0.5]), scatter_s=scatter), Shape(0.010), about_s=0.0, reach_s=0.02)
        for scatter in (5e-5, 1.5e-3)
    )
    assert even.u_s < 4e-4
    assert uneven.u_s > 1e-3


@given(st.floats(0.01, 0.99), st.floats(-2, 2))
def test_a_bent_response_moves_the_logit(lit: float, bend: float) -> None:
    assert logit(response(np.array([lit]), bend)[0]) == pytest.approx(logit(lit) + bend, abs=1e-9)


def test_a_straight_response_changes_nothing() -> None:
    lit = np.linspace(0, 1, 11)
    assert response(lit, 0.0) == pytest.approx(lit)


def test_a_bend_of_one_is_about_a_display_gamma() -> None:
    """IEC 61966-2-1 names 2.2 as the approximate exponent: half the light shows as 0.5^(1/2.2) = 0.73."""
    assert response(np.array([0.5]), 1.0)[0] == pytest.approx(0.5 ** (1 / 2.2), abs=0.005)


def test_pictures_that_caught_no_switch_leave_a_flat_top() -> None:
    """They say "after 3 ms, before 5 ms"; a rectangle of half-width a has u = a/√3 (JCGM 100:2008, 4.3.7)."""
    width = 1e-4
    sides = near([0.003] * 10 + [0.005] * 10, [0.0] * 10 + [1.0] * 10)
    found = posterior(sides, Shape(width), about_s=0.002, reach_s=0.02, jitters_s=JITTERS_S[:1])
    assert found.delay_s == pytest.approx(0.004, abs=1e-4)
    assert found.u_s == pytest.approx((0.001 - width / 2) / math.sqrt(3), rel=0.05)


def test_a_picture_that_caught_a_switch_tells_its_moment_to_the_width_times_the_noise() -> None:
    pictures = near([0.001] * 4, [0.5] * 4, noise=0.02)
    found = posterior(pictures, Shape(0.010), about_s=0.0, reach_s=0.02, jitters_s=JITTERS_S[:1])
    assert found.delay_s == pytest.approx(0.001, abs=1e-5)
    assert found.u_s == pytest.approx(0.010 * 0.02 / 2, rel=0.4)


@given(st.floats(-0.02, 0.02))
@settings(max_examples=10)
def test_it_does_not_matter_where_one_begins_to_look(begin_s: float) -> None:
    pictures = near([0.001, 0.003, -0.002, 0.012, -0.012], [0.52, 0.71, 0.19, 1.0, 0.0])
    found = posterior(pictures, Shape(0.010), about_s=begin_s, reach_s=0.04)
    assert found.delay_s == pytest.approx(0.0009, abs=2e-4)


def test_width_and_bend_are_found_with_the_delay() -> None:
    rng = np.random.default_rng(8)
    since = rng.uniform(-0.03, 0.03, 400)
    direction = np.where(rng.random(400) < 0.5, 1.0, -1.0)
    shown = response(np.clip(0.5 + direction * (since - 0.004) / 0.016, 0, 1), 0.9) + rng.normal(0, 0.02, 400)
    pictures = Near(since, direction, shown, (0.02, 0.02), np.ones(400))
    found = fit(pictures, about_s=0.0, reach_s=0.03, prior=WidthPrior(0.008, math.inf, 1e-4, 0.04))
    assert found.width_s == pytest.approx(0.016, abs=4 * found.u_width_s)
    assert found.bend == pytest.approx(0.9, abs=0.1)
    assert found.delay_s == pytest.approx(0.004, abs=1e-4)


def test_a_width_outside_its_limits_is_impossible() -> None:
    prior = WidthPrior(0.01, 0.05, 0.001, 0.03)
    assert prior.log_density(0.04) == -math.inf
    assert prior.log_density(0.01) > prior.log_density(0.011) > prior.log_density(0.02) > -20
