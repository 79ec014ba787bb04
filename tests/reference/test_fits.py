"""Our least-squares fit against NIST's certified values, and the spread of a spread against the Guide's Table E.1.

NIST Statistical Reference Datasets, https://www.itl.nist.gov/div898/strd (public domain). Misra1a and BoxBOD are
exactly the way of a boat that coasts against linear drag, x = (v/α)·(1 − e^(−αt)), so they go through the very function
that measures a coast. The other models are decays, a peak and a power law, certified to eleven digits by NIST.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from numpy.typing import NDArray

from logger.results.coast import Fit, fit, linear_way
from logger.results.repeats import relative_sd_of_sd, spread_of
from logger.results.trial import NotMeasured
from logger.study import effects

Floats = NDArray[np.float64]
Form = Callable[[Floats, Floats], tuple[Floats, Floats]]

MISRA1A = np.array(
    [(77.6, 10.07), (114.9, 14.73), (141.1, 17.94), (190.8, 23.93), (239.9, 29.61), (289.0, 35.18), (332.8, 40.02),
     (378.4, 44.82), (434.8, 50.76), (477.3, 55.05), (536.8, 61.01), (593.1, 66.4), (689.1, 75.47), (760.0, 81.78)]
)  # fmt: skip
BOXBOD = np.array([(1.0, 109.0), (2.0, 149.0), (3.0, 149.0), (5.0, 191.0), (7.0, 213.0), (10.0, 224.0)])
# JCGM 100:2008, Table H.6: reading less 20 degC, correction.
THERMOMETER = np.array(
    [(1.521, -0.171), (2.012, -0.169), (2.512, -0.166), (3.003, -0.159), (3.507, -0.164), (3.999, -0.165),
     (4.513, -0.156), (5.002, -0.157), (5.503, -0.159), (6.010, -0.161), (6.511, -0.160)]
)  # fmt: skip


def digits(ours: float, certified: float) -> float:
    """NIST's measure of agreement: the number of common leading digits (LRE), at most 15."""
    return 15.0 if ours == certified else min(15.0, -math.log10(abs(ours - certified) / abs(certified)))


def line(x: Floats, p: Floats) -> tuple[Floats, Floats]:
    return p[0] + p[1] * x, np.column_stack([np.ones_like(x), x])


def settled(found: Fit | NotMeasured) -> Fit:
    assert isinstance(found, Fit), found
    return found


def thermometer() -> Fit:
    return settled(fit(line, THERMOMETER[:, 0], THERMOMETER[:, 1], start=np.array([-0.17, 0.002])))


CALLS: dict[str, Callable[[], float]] = {
    "gum.h3.s": lambda: thermometer().residual_sd,
    "gum.h3.rss": lambda: thermometer().residual_sum,
    "gum.E1.n2": lambda: 100 * relative_sd_of_sd(2),
    "gum.E1.n3": lambda: 100 * relative_sd_of_sd(3),
    "gum.E1.n4": lambda: 100 * relative_sd_of_sd(4),
    "gum.E1.n5": lambda: 100 * relative_sd_of_sd(5),
    "gum.E1.n10": lambda: 100 * relative_sd_of_sd(10),
    "gum.E1.n20": lambda: 100 * relative_sd_of_sd(20),
    "gum.E1.n30": lambda: 100 * relative_sd_of_sd(30),
    "gum.E1.n50": lambda: 100 * relative_sd_of_sd(50),
}


@pytest.mark.parametrize("name", CALLS)
def test_a_fit_or_a_spread_comes_out_as_in_the_guide(name: str, agrees: Callable[[str, float], None]) -> None:
    agrees(name, CALLS[name]())


# name: data, the two starts for (b1, b2) that NIST gives, certified b1 ± sd, b2 ± sd, residual sd
COASTS = {
    "Misra1a": (
        MISRA1A, [(500.0, 0.0001), (250.0, 0.0005)],
        (238.94212918, 2.7070075241), (5.5015643181e-4, 7.2668688436e-6), 0.10187876330,
    ),
    "BoxBOD": (
        BOXBOD, [(100.0, 0.75)],
        (213.80940889, 12.354515176), (0.54723748542, 0.10455993237), 17.088072423,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", COASTS)
def test_a_linear_coast_is_as_certified(name: str) -> None:
    """b1 = v/α is the whole way, b2 = α; u(b1) by propagation from the covariance of the two."""
    data, starts, (way, u_way), (rate, u_rate), residual_sd = COASTS[name]
    for b1, b2 in starts:
        found = settled(fit(linear_way, data[:, 0], data[:, 1], start=np.array([b1 * b2, b2])))
        speed, alpha = found.parameters
        gradient = np.array([1 / alpha, -speed / alpha**2])
        assert digits(alpha, rate) > 8
        assert digits(found.u[1], u_rate) > 7
        assert digits(speed / alpha, way) > 8
        assert digits(float(np.sqrt(gradient @ found.covariance @ gradient)), u_way) > 7
        assert digits(found.residual_sd, residual_sd) > 8


def test_a_hopeless_start_is_reported_as_a_failure() -> None:
    """From NIST's first start, (1, 1), many fitters of BoxBOD end at b1 = 172 with an infinite doubt."""
    found = fit(linear_way, BOXBOD[:, 0], BOXBOD[:, 1], start=np.array([1.0, 1.0]))
    assert isinstance(found, NotMeasured)
    assert "The fit of the coast" in found.reason


def power(x: Floats, p: Floats) -> tuple[Floats, Floats]:
    value = p[0] * x ** p[1]
    return value, np.column_stack([value / p[0], value * np.log(x)])


def misra1c(x: Floats, p: Floats) -> tuple[Floats, Floats]:
    root = (1 + 2 * p[1] * x) ** -0.5
    return p[0] * (1 - root), np.column_stack([1 - root, p[0] * x * root**3])


def chwirut(x: Floats, p: Floats) -> tuple[Floats, Floats]:
    below = p[1] + p[2] * x
    value = np.exp(-p[0] * x) / below
    return value, np.column_stack([-x * value, -value / below, -x * value / below])


def peak(x: Floats, p: Floats) -> tuple[Floats, Floats]:
    off = (x - p[2]) / p[1]
    value = p[0] / p[1] * np.exp(-(off**2) / 2)
    return value, np.column_stack([value / p[0], value * (off**2 - 1) / p[1], value * off / p[1]])


FORMS: dict[str, Form] = {"DanWood": power, "Misra1c": misra1c, "Chwirut1": chwirut, "Eckerle4": peak}


@pytest.mark.parametrize("name", FORMS)
def test_a_nonlinear_fit_is_as_certified(real_data: Path, name: str) -> None:
    lines = (real_data / "nist_strd" / "nonlinear" / f"{name}.dat").read_text(encoding="ascii").splitlines()
    table = [re.split(r"[=\s]+", row.strip()) for row in lines[39:50] if re.match(r"\s*b\d\s*=", row)]
    near, certified, sd = (np.array([float(row[i]) for row in table]) for i in (2, 3, 4))
    residual_sd = next(float(row.split(":")[1]) for row in lines if row.startswith("Residual Standard Deviation"))
    data = np.array([[float(n) for n in row.split()] for row in lines[60:] if row.strip()])
    found = settled(fit(FORMS[name], data[:, 1], data[:, 0], start=near))
    assert len(found.parameters) == len(certified)
    for ours, theirs in zip(found.parameters, certified, strict=True):
        assert digits(ours, theirs) > 6
    for ours, theirs in zip(found.u, sd, strict=True):
        assert digits(ours, theirs) > 6
    assert digits(found.residual_sd, residual_sd) > 8


def carried(*parts: str) -> list[str]:
    """Lines of a NIST file that SciPy's wheel brings along for its own tests."""
    path = Path(scipy.stats.__file__).parent.joinpath("tests", "data", *parts)
    if not path.is_file():
        pytest.skip(f"this build of SciPy comes without {path.name}")
    return path.read_text(encoding="ascii").splitlines()


def test_a_straight_line_is_as_certified() -> None:
    """Norris: calibration of an ozone monitor, 36 pairs."""
    data = np.array(
        [[float(n) for n in row.split()] for row in carried("nist_linregress", "Norris.dat")[60:] if row.strip()]
    )
    found = settled(fit(line, data[:, 1], data[:, 0], start=np.array([1.0, 1.0])))
    certified = ((-0.262323073774029, 0.232818234301152), (1.00211681802045, 0.429796848199937e-3))
    for ours, u, (theirs, sd) in zip(found.parameters, found.u, certified, strict=True):
        assert digits(ours, theirs) > 9
        assert digits(u, sd) > 9
    assert digits(found.residual_sd, 0.884796396144373) > 12


def test_the_line_of_best_fit_of_an_experiment_is_as_certified() -> None:
    data = np.array(
        [[float(n) for n in row.split()] for row in carried("nist_linregress", "Norris.dat")[60:] if row.strip()]
    )
    found = effects.line(data[:, 1].tolist(), data[:, 0].tolist())
    assert found is not None
    assert found.dof == 34
    for ours, theirs in (
        (found.intercept, -0.262323073774029), (found.u_intercept, 0.232818234301152),
        (found.slope, 1.00211681802045), (found.u_slope, 0.429796848199937e-3), (found.residual, 0.884796396144373),
    ):  # fmt: skip
        assert digits(ours, theirs) > 11


# the higher sets of SmLs begin with 1e6 and 1e12, of which doubles keep less
@pytest.mark.parametrize(
    ("name", "wanted_digits"),
    [("SiRstv", 11), ("SmLs01", 13), ("SmLs02", 12), ("SmLs03", 11), ("AtmWtAg", 7), ("SmLs04", 8), ("SmLs05", 8),
     ("SmLs06", 8), ("SmLs07", 2), ("SmLs08", 2), ("SmLs09", 2)],
)  # fmt: skip
def test_what_levels_differ_by_is_as_certified(name: str, wanted_digits: float) -> None:
    """NIST one-way analysis of variance: Fisher's F."""
    lines = carried("nist_anova", f"{name}.dat")
    certified = float(next(row for row in lines if row.startswith("Between")).split()[-1])
    rows = [row.split() for row in lines[60:] if row.strip()]
    found = effects.groups([float(value) for _, value in rows], [group for group, _ in rows])
    assert found is not None
    assert digits(found.ratio, certified) > wanted_digits


@pytest.mark.parametrize(("name", "wanted_digits"), [("SiRstv", 12), ("AtmWtAg", 8), ("SmLs01", 13), ("SmLs04", 8)])
def test_spreads_within_groups_add_up_to_the_certified_sum_of_squares(name: str, wanted_digits: float) -> None:
    """NIST one-way analysis of variance: the sum of (n − 1)·s² over the groups is the within-group sum of squares."""
    lines = carried("nist_anova", f"{name}.dat")
    certified = float(next(row for row in lines if row.startswith("Within")).split()[3])
    rows = [row.split() for row in lines[60:] if row.strip()]
    groups: dict[str, list[float]] = {}
    for group, value in rows:
        groups.setdefault(group, []).append(float(value))
    spreads = [spread_of(values) for values in groups.values()]
    ours = sum((s.count - 1) * (s.sd or 0.0) ** 2 for s in spreads)
    assert digits(ours, certified) > wanted_digits


@pytest.mark.parametrize("middle", [1.2, 1_000_000.2, 10_000_000.2])
def test_a_spread_beside_a_large_value_keeps_its_digits(middle: float) -> None:
    """NIST NumAcc2 to 4: the middle once, then 0.1 below and above in turn; s = 0.1 exactly."""
    found = spread_of([middle] + [round(middle + (-0.1, 0.1)[i % 2], 1) for i in range(1000)])
    assert digits(found.mean, middle) > 14
    assert found.sd is not None
    assert digits(found.sd, 0.1) > 8
