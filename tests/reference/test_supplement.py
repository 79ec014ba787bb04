"""JCGM 101:2008, chapter 9: where the law of propagation is right, where it is not, and what Monte Carlo says.

The draws of an example are made here, as its model is not ours; what is said of draws is said by the product.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from calibration.quantity import Quantity
from logger.results.monte_carlo import summed_up


def rectangle(name: str, sd: float) -> Quantity:
    return Quantity.rectangular(0.0, "1", half_width=math.sqrt(3) * sd, source=name)


def sum_of(*parts: Quantity) -> Quantity:
    total = parts[0]
    for part in parts[1:]:
        total = total + part
    return total


def four_normal() -> Quantity:
    return sum_of(*(Quantity.of(0.0, "1", u=1.0, source=name) for name in "abcd"))


def one_wide() -> Quantity:
    return sum_of(rectangle("a", 1), rectangle("b", 1), rectangle("c", 1), rectangle("d", 10))


def weight() -> Quantity:
    """Deviation of a weight from 100 g, mg, at first order: the densities' partial derivatives vanish (9.3.1.3)."""
    reference = Quantity.of(100_000.000, "mg", u=0.050, source="reference weight")
    added = Quantity.of(1.234, "mg", u=0.020, source="small added weight")
    air = Quantity.rectangular(1.20, "kg/m3", half_width=0.10, source="density of air")
    inverse = {  # of the densities, m3/kg; 1/x at first order
        "weight": Quantity.of(1.0, "1", u=0.0, source="one").over(
            Quantity.rectangular(8000, "kg/m3", half_width=1000, source="density of the weight"), "m3/kg"
        ),
        "reference": Quantity.of(1.0, "1", u=0.0, source="one").over(
            Quantity.rectangular(8000, "kg/m3", half_width=50, source="density of the reference"), "m3/kg"
        ),
    }
    buoyancy = (air - Quantity(1.2, "kg/m3")).times(inverse["weight"] - inverse["reference"], "1")
    total = reference + added
    return total + total.times(buoyancy, "mg") - Quantity(100_000.0, "mg")


Summary = tuple[float, float, float, float]


def half_width(found: Summary) -> float:
    """Both ends say the same of a symmetric distribution."""
    return (found[3] - found[2]) / 2


@cache
def drawn_sum(*sds: float) -> Summary:
    """Of rectangular inputs with these standard deviations."""
    rng = np.random.default_rng(1)
    total = np.zeros(4_000_000)
    for sd in sds:
        total += rng.uniform(-(3**0.5) * sd, 3**0.5 * sd, len(total))
    return summed_up(total)


@cache
def drawn_weight() -> Summary:
    """The model of 9.3.1.3 itself, without any derivative."""
    rng, count = np.random.default_rng(1), 1_000_000
    reference, added = rng.normal(100_000.0, 0.050, count), rng.normal(1.234, 0.020, count)
    air, weight = rng.uniform(1.10, 1.30, count), rng.uniform(7000, 9000, count)
    standard = rng.uniform(7950, 8050, count)
    return summed_up((reference + added) * (1 + (air - 1.2) * (1 / weight - 1 / standard)) - 100_000.0)


CALLS: dict[str, Callable[[], float]] = {
    "s1.9.2.2.end": lambda: four_normal().U,
    "s1.9.2.4.u": lambda: one_wide().u,
    "s1.9.2.4.guf_end": lambda: one_wide().U,
    "s1.9.2.3.end": lambda: half_width(drawn_sum(1, 1, 1, 1)),
    "s1.9.2.4.mcm_end": lambda: half_width(drawn_sum(1, 1, 1, 10)),
    "s1.9.3.mcm_y": lambda: drawn_weight()[0],
    "s1.9.3.mcm_u": lambda: drawn_weight()[1],
    "s1.9.3.mcm_lo": lambda: drawn_weight()[2],
    "s1.9.3.mcm_hi": lambda: drawn_weight()[3],
    "s1.9.3.guf1_u": lambda: weight().u,
    "s1.9.3.guf1_lo": lambda: weight().value - weight().U,
    "s1.9.3.guf1_hi": lambda: weight().value + weight().U,
}


@pytest.mark.parametrize("name", CALLS)
def test_a_propagation_comes_out_as_in_the_supplement(name: str, agrees: Callable[[str, float], None]) -> None:
    agrees(name, CALLS[name]())
