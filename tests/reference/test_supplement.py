"""JCGM 101:2008, chapter 9: where the law of propagation is right, where it is not, and what Monte Carlo says."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from calibration.quantity import Quantity


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


CALLS: dict[str, Callable[[], float]] = {
    "s1.9.2.2.end": lambda: four_normal().U,
    "s1.9.2.4.u": lambda: one_wide().u,
    "s1.9.2.4.guf_end": lambda: one_wide().U,
    "s1.9.3.guf1_u": lambda: weight().u,
    "s1.9.3.guf1_lo": lambda: weight().value - weight().U,
    "s1.9.3.guf1_hi": lambda: weight().value + weight().U,
}


@pytest.mark.parametrize("name", CALLS)
def test_a_propagation_comes_out_as_in_the_supplement(name: str, agrees: Callable[[str, float], None]) -> None:
    agrees(name, CALLS[name]())
