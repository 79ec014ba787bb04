"""Worked examples of the Guide to the expression of uncertainty (JCGM 100:2008), through `Quantity`."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from pathlib import Path

import pytest

from calibration.quantity import Quantity, Source, concise, coverage_factor, plus_minus

# H.1: the length of an end gauge at 20 °C, nm, by comparison with a standard. Inputs as the example gives them.
STANDARD = Quantity.of(50_000_623, "nm", u=75 / 3, source="length of the standard", dof=18)
DIFFERENCE_PARTS = (
    Quantity.of(215, "nm", u=13 / math.sqrt(5), source="five readings, pooled sd", dof=24),
    Quantity.of(0, "nm", u=10 / coverage_factor(5), source="comparator, random", dof=5),
    Quantity.of(0, "nm", u=20 / 3, source="comparator, systematic", dof=8),
)
DIFFERENCE = DIFFERENCE_PARTS[0] + DIFFERENCE_PARTS[1] + DIFFERENCE_PARTS[2]
EXPANSION_PER_DEGC = 11.5e-6
MEAN_TEMPERATURE = Quantity.of(-0.1, "degC", u=0.2, source="mean temperature of the bed")
SWING = Quantity.of(0.0, "degC", u=0.5 / math.sqrt(2), source="swing of the temperature")
EXPANSIONS_APART = Quantity(0.0, "1/degC", {Source("difference of expansions", 50): 1e-6 / math.sqrt(3)})
TEMPERATURES_APART = Quantity(0.0, "degC", {Source("difference of temperatures", 2): 0.05 / math.sqrt(3)})


def end_gauge() -> Quantity:
    """l = l_S + d − l_S·(δα·θ + α_S·δθ), GUM equation (H.3)."""
    temperature = MEAN_TEMPERATURE + SWING
    first = EXPANSIONS_APART.times(temperature, "1")
    second = TEMPERATURES_APART.scaled(EXPANSION_PER_DEGC, "1")
    return STANDARD + DIFFERENCE - STANDARD.times(first + second, "nm")


def part(name: str) -> float:
    return abs(next(c for source, c in end_gauge().contributions.items() if source.name == name))


def h1_with_t_of_16() -> float:
    """U99 as the example forms it: the factor of the truncated degrees of freedom times the rounded u."""
    gauge = end_gauge()
    return round(coverage_factor(gauge.dof, 0.99), 2) * round(gauge.u)


def product_of_three() -> Quantity:
    """G.4.1: relative standard uncertainties of 0.25, 0.57 and 0.82 % from 10, 5 and 15 readings."""
    parts = [
        Quantity.of(1, "1", u=u / 100, source=f"X{i}", dof=n - 1)
        for i, (u, n) in enumerate(((0.25, 10), (0.57, 5), (0.82, 15)), 1)
    ]
    return parts[0].times(parts[1], "1").times(parts[2], "1").scaled(100, "%")


def frame(rate_hz: float, which: str = "a") -> Quantity:
    """The moment of an event that is only known to lie in one frame of a camera."""
    return Quantity.rectangular(0.0, "ms", half_width=500 / rate_hz, source=f"frame {which}")


def half_width_of_half(which: str) -> Quantity:
    return Quantity.rectangular(0, "a", half_width=0.5, source=which)


CALLS: dict[str, Callable[[], float]] = {
    "gum.h1.u_dbar": lambda: DIFFERENCE_PARTS[0].u,
    "gum.h1.u_d1": lambda: DIFFERENCE_PARTS[1].u,
    "gum.h1.u_d2": lambda: DIFFERENCE_PARTS[2].u,
    "gum.h1.u_d": lambda: DIFFERENCE.u,
    "gum.h1.nu_d": lambda: DIFFERENCE.dof,
    "gum.h1.u_theta": lambda: (MEAN_TEMPERATURE + SWING).u,
    "gum.h1.contrib_dalpha": lambda: part("difference of expansions"),
    "gum.h1.contrib_dtheta": lambda: part("difference of temperatures"),
    "gum.h1.uc": lambda: end_gauge().u,
    "gum.h1.uc2": lambda: end_gauge().u ** 2,
    "gum.h1.nu_eff": lambda: end_gauge().dof,
    "gum.h1.t99": lambda: coverage_factor(end_gauge().dof, 0.99),
    "gum.h1.U99": h1_with_t_of_16,
    "gum.h1.l": lambda: end_gauge().value,
    "gum.g4.uc_rel": lambda: product_of_three().u,
    "gum.g4.nu_eff": lambda: product_of_three().dof,
    "gum.g4.t95": lambda: coverage_factor(19),
    "gum.g4.U95": lambda: coverage_factor(19) * product_of_three().u,
    "gum.4.3.7.u": lambda: Quantity.rectangular(16.52e-6, "1/degC", half_width=0.40e-6, source="handbook").u,
    "gum.4.3.7.u2": lambda: Quantity.rectangular(16.52e-6, "1/degC", half_width=0.40e-6, source="handbook").u ** 2,
    "gum.4.3.7.dvm": lambda: Quantity.rectangular(0, "uV", half_width=14 * 0.928571 + 2, source="meter").u,
    "gum.4.3.8.u": lambda: Quantity.rectangular(16.66e-6, "1/degC", half_width=0.26e-6, source="handbook").u,
    "gum.4.3.4.u": lambda: 129 / coverage_factor(math.inf, 0.99),
    "gum.4.3.5.factor": lambda: 1 / coverage_factor(math.inf, 0.50),
    "gum.4.3.9.triangular": lambda: (half_width_of_half("one") + half_width_of_half("two")).u,
    "gum.F2.2.1.resolution": lambda: Quantity.rectangular(0, "dx", half_width=0.5, source="last digit").u,
    "gum.7.2.4.k": lambda: coverage_factor(9),
    "gum.7.2.4.U": lambda: Quantity.of(100_021.47, "mg", u=0.35, source="weighing", dof=9).U,
    "gum.7.2.6.round": lambda: float(plus_minus(10.05762, 0.027).split()[0]),
    "timing.frame_u_30fps": lambda: frame(30).u,
    "timing.frame_u_50fps": lambda: frame(50).u,
    "timing.frame_u_60fps": lambda: frame(60).u,
    "timing.frame_u_90fps": lambda: frame(90).u,
    "timing.frame_u_120fps": lambda: frame(120).u,
    "timing.frame_elapsed_30fps": lambda: (frame(30, "at the finish") - frame(30, "at the start")).u,
    "timing.manual_two_presses": lambda: (
        Quantity.of(0.11, "s", u=0.07, source="stop") - Quantity.of(0.11, "s", u=0.07, source="start")
    ).u,
}  # fmt: skip


@pytest.mark.parametrize("name", CALLS)
def test_a_worked_example_comes_out_as_printed(name: str, agrees: Callable[[str, float], None]) -> None:
    agrees(name, CALLS[name]())


def test_rounding_before_the_degrees_of_freedom_would_be_seen() -> None:
    """The end gauge's trap: with u rounded to 32 nm first, Welch-Satterthwaite gives 17.5 and the factor of 17."""
    assert math.floor(end_gauge().dof) == 16
    assert end_gauge().dof * (32 / end_gauge().u) ** 4 > 17


def test_expanded_uncertainty_of_the_end_gauge_unrounded() -> None:
    gauge = end_gauge()
    assert 92 < coverage_factor(gauge.dof, 0.99) * gauge.u < 94


TABLE_G2 = list(csv.DictReader(Path(__file__).with_name("student_t.csv").read_text(encoding="utf-8").splitlines()))
SIGMA_COLUMNS = {68.27: 1, 95.45: 2, 99.73: 3}
MISPRINT = ("35", "90.0")
"""Table G.2 prints 1.70 there; the exact value, 1.6896, rounds to 1.69."""


@pytest.mark.parametrize("row", TABLE_G2, ids=lambda row: f"dof {row['dof']}, {row['percent']} %")
def test_student_t_is_as_in_table_g2(row: dict[str, str]) -> None:
    """JCGM 100:2008, Table G.2 (the same figures as NIST TN 1297, Table B.1)."""
    dof, percent = float(row["dof"]), float(row["percent"])
    sigmas = SIGMA_COLUMNS.get(percent)
    probability = math.erf(sigmas / math.sqrt(2)) if sigmas else percent / 100
    ours = coverage_factor(dof, probability)
    if (row["dof"], row["percent"]) == MISPRINT:
        assert ours == pytest.approx(1.6896, abs=5e-5)
    else:
        decimals = len(row["t"].partition(".")[2])
        assert ours == pytest.approx(float(row["t"]), abs=0.5000001 * 10**-decimals)


def test_the_whole_table_is_there() -> None:
    assert len(TABLE_G2) == 28 * 6


@pytest.mark.parametrize(
    ("value", "uncertainty", "printed"),
    [
        (10.05762, 0.027, "10.058 ± 0.027"),  # 7.2.6
        (100.02147, 0.00079, "100.02147 ± 0.00079"),  # 7.2.4
        (28.05, 28.05, "28 ± 28"),  # 7.2.6: 28,05 kHz becomes 28 kHz
    ],
)
def test_a_result_is_written_as_in_clause_7_2(value: float, uncertainty: float, printed: str) -> None:
    assert plus_minus(value, uncertainty) == printed


def test_the_bracket_form_is_as_in_clause_7_2_2() -> None:
    assert concise(100.02147, 0.00035) == "100.02147(35)"
