"""A line through readings, as JCGM 100:2008, H.3 fits one to a thermometer's corrections; GTC is the second witness."""

from __future__ import annotations

import math
from collections.abc import Callable

import GTC
import numpy as np
import pytest

from calibration.quantity import Quantity

# Reading less 20 °C, and correction, both in degC (Table H.6).
READING = [1.521, 2.012, 2.512, 3.003, 3.507, 3.999, 4.513, 5.002, 5.503, 6.010, 6.511]
CORRECTION = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
FREE = len(READING) - 2


def fitted_line() -> tuple[Quantity, Quantity]:
    """Intercept and slope, which share the parts of one fit."""
    design = np.column_stack([np.ones(len(READING)), READING])
    solution, squares, *_ = np.linalg.lstsq(design, np.array(CORRECTION), rcond=None)
    covariance = squares[0] / FREE * np.linalg.inv(design.T @ design)
    intercept, slope = Quantity.jointly(solution, ["degC", "1"], covariance, source="fit", dof=FREE)
    return intercept, slope


def correction_at_30() -> Quantity:
    intercept, slope = fitted_line()
    return intercept + slope.scaled(10, "degC")


def correlation() -> float:
    intercept, slope = fitted_line()
    together = intercept.scaled(1 / intercept.u, "1") + slope.scaled(1 / slope.u, "1")
    return together.u**2 / 2 - 1


CALLS: dict[str, Callable[[], float]] = {
    "gum.h3.y1": lambda: fitted_line()[0].value,
    "gum.h3.s_y1": lambda: fitted_line()[0].u,
    "gum.h3.y2": lambda: fitted_line()[1].value,
    "gum.h3.s_y2": lambda: fitted_line()[1].u,
    "gum.h3.r": correlation,
    "gum.h3.b30": lambda: correction_at_30().value,
    "gum.h3.u_b30": lambda: correction_at_30().u,
}


@pytest.mark.parametrize("name", CALLS)
def test_a_fitted_line_is_as_in_the_guide(name: str, agrees: Callable[[str, float], None]) -> None:
    agrees(name, CALLS[name]())


def test_a_value_read_off_a_line_keeps_the_degrees_of_freedom_of_the_fit() -> None:
    """Two parts of one fit are one set of readings: 9, not the 10 to 18 of two independent terms."""
    fit = GTC.type_a.line_fit(READING, CORRECTION)
    theirs = fit.intercept + fit.slope * 10
    ours = correction_at_30()
    assert ours.value == pytest.approx(GTC.value(theirs), rel=1e-10)
    assert ours.u == pytest.approx(GTC.uncertainty(theirs), rel=1e-9)
    assert ours.dof == pytest.approx(GTC.dof(theirs))
    assert ours.dof == pytest.approx(FREE)


def test_forgetting_that_intercept_and_slope_are_correlated_would_be_seen() -> None:
    intercept, slope = fitted_line()
    assert math.hypot(intercept.u, 10 * slope.u) > 1.7 * correction_at_30().u
