"""A measured value that knows how much to doubt it, and why.

A `Quantity` is a value, a unit, and one signed contribution per *source* of doubt. Everything else follows from
that table (JCGM 100:2008, "the GUM"): the standard uncertainty is the root of the summed squares, the effective
degrees of freedom come from the Welch-Satterthwaite formula, and two results that share a source (one gate
distance, one plane scale) share it for ever: in a difference or a ratio it cancels by itself.

Results of one fit share one number of degrees of freedom. Their parts are therefore kept in one *ensemble*: parts of
an ensemble are summed in squares first and enter Welch-Satterthwaite as one term (Willink 2007; GUM G.4.1 holds for
independent terms only).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

_DOF_IS_INFINITE = 1e6  # what is left by cancelling has no meaning as a number of degrees of freedom


@dataclass(frozen=True, slots=True, order=True)
class Source:
    """One independent cause of doubt. Equal sources are the same cause and are fully correlated."""

    name: str
    """What it is, in words a person can act on: "gate distance", "freeboard of boat T3b"."""
    dof: float = math.inf
    """Degrees of freedom of its standard uncertainty (GUM G.3; infinite for type B)."""
    ensemble: str = ""
    """Name of the fit or set of readings that it came from, if it shares its degrees of freedom with others."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its unit and its signed contributions of standard uncertainty, in the same unit."""

    value: float
    unit: str
    contributions: Mapping[Source, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(
                f"quantity in {self.unit}: value is {self.value}; a finite number is wanted; "
                "report what could not be measured as NotMeasured"
            )
        clean = {s: float(c) for s, c in self.contributions.items() if c != 0}
        if bad := [s.name for s, c in clean.items() if not math.isfinite(c)]:
            raise ValueError(f"quantity in {self.unit}: contribution of {bad[0]!r} is not finite")
        object.__setattr__(self, "contributions", MappingProxyType(clean))

    def __reduce__(self) -> tuple[type[Quantity], tuple[float, str, dict[Source, float]]]:
        return Quantity, (self.value, self.unit, dict(self.contributions))

    @staticmethod
    def of(value: float, unit: str, *, u: float, source: str, dof: float = math.inf) -> Quantity:
        """A quantity with one source: `value` ± standard uncertainty `u`, both in `unit`."""
        return Quantity(value, unit, {Source(source, dof): u})

    @staticmethod
    def rectangular(value: float, unit: str, *, half_width: float, source: str) -> Quantity:
        """A reading that lies anywhere within ± `half_width` (GUM 4.3.7: u = a/√3)."""
        return Quantity.of(value, unit, u=half_width / math.sqrt(3), source=source)

    @staticmethod
    def jointly(
        values: Sequence[float],
        units: Sequence[str],
        covariance: ArrayLike,
        *,
        source: str,
        dof: float = math.inf,
    ) -> list[Quantity]:
        """The results of one fit: `values` in `units` with their (N, N) `covariance`, sharing `dof` (GUM H.3).

        They carry common parts "`source`, part 1" ... in one ensemble, so that whatever is calculated from several
        of them has the right correlation and the fit's own degrees of freedom. ValueError if it is no covariance.
        """
        matrix = np.asarray(covariance, np.float64)
        sd = np.sqrt(np.maximum(np.diag(matrix), 0))
        scale = np.where(sd > 0, sd, 1.0)
        correlation = matrix / np.outer(scale, scale)
        strength, direction = np.linalg.eigh(correlation)
        lopsided = bool(np.abs(correlation - correlation.T).max() > 1e-9)
        if lopsided or np.diag(matrix).min() < 0 or strength[0] < -1e-9 * len(sd):
            raise ValueError(f"{source}: {matrix.tolist()} is no covariance; it must be symmetric and not negative")
        parts = scale[:, None] * direction * np.sqrt(np.maximum(strength, 0))
        names = [Source(f"{source}, part {n}", dof, ensemble=source) for n in range(1, len(sd) + 1)]
        return [
            Quantity(float(value), unit, dict(zip(names, row.tolist(), strict=True)))
            for value, unit, row in zip(values, units, parts, strict=True)
        ]

    @staticmethod
    def linear(value: float, unit: str, terms: Iterable[tuple[float, Quantity]]) -> Quantity:
        """Law of propagation (GUM 5.1.2, 5.2.2): `terms` are (partial derivative, input quantity).

        Shared sources add with their signs, so correlation through them is exact to first order.
        """
        total: dict[Source, float] = {}
        for partial, quantity in terms:
            for source, c in quantity.contributions.items():
                total[source] = total.get(source, 0.0) + partial * c
        return Quantity(value, unit, total)

    def __add__(self, other: Quantity) -> Quantity:
        self._same_unit(other)
        return Quantity.linear(self.value + other.value, self.unit, [(1, self), (1, other)])

    def __sub__(self, other: Quantity) -> Quantity:
        self._same_unit(other)
        return Quantity.linear(self.value - other.value, self.unit, [(1, self), (-1, other)])

    def scaled(self, factor: float, unit: str) -> Quantity:
        """`factor` × self, as a quantity in `unit` (for a change of unit or an exact number)."""
        return Quantity.linear(factor * self.value, unit, [(factor, self)])

    def times(self, other: Quantity, unit: str) -> Quantity:
        """Self × other in `unit`; the caller vouches for the unit."""
        return Quantity.linear(self.value * other.value, unit, [(other.value, self), (self.value, other)])

    def over(self, other: Quantity, unit: str) -> Quantity:
        """Self ÷ other in `unit`; the caller vouches for the unit. ZeroDivisionError if other is 0."""
        ratio = self.value / other.value
        return Quantity.linear(ratio, unit, [(1 / other.value, self), (-ratio / other.value, other)])

    def plus_doubt(self, source: Source, u: float) -> Quantity:
        """The same value with one more contribution of `u` (same unit) from `source`."""
        return Quantity.linear(self.value, self.unit, [(1, self), (1, Quantity(0.0, self.unit, {source: u}))])

    @property
    def u(self) -> float:
        """Combined standard uncertainty, in the quantity's unit."""
        return math.hypot(*self.contributions.values())

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (Welch-Satterthwaite, GUM G.4.1), one term per ensemble."""
        shares: dict[tuple[str, float], float] = {}
        u = self.u
        for source, c in self.contributions.items():
            key = (source.ensemble or source.name, source.dof)
            shares[key] = shares.get(key, 0.0) + (c / u) ** 2
        inverse = sum(share * share / dof for (_, dof), share in shares.items() if math.isfinite(dof))
        dof = 1 / inverse if inverse > 0 else math.inf
        return dof if dof < _DOF_IS_INFINITE else math.inf

    @property
    def k(self) -> float:
        """Coverage factor for 95 % (GUM G.3.2): Student's t at the truncated effective dof (G.4.1 note 1)."""
        return coverage_factor(self.dof)

    @property
    def U(self) -> float:  # noqa: N802
        """Expanded uncertainty at 95 %, k·u, in the quantity's unit."""
        return self.k * self.u

    def _same_unit(self, other: Quantity) -> None:
        if other.unit != self.unit:
            raise ValueError(f"quantities in {self.unit!r} and {other.unit!r} cannot be added; convert one first")

    def __str__(self) -> str:
        return f"{plus_minus(self.value, self.U)} {self.unit}".rstrip()


def coverage_factor(dof: float, probability: float = 0.95) -> float:
    """Student's t factor for a two-sided interval of `probability`; `dof` is truncated first, at least 1."""
    if not math.isfinite(dof):
        dof = 1e12
    return float(stdtrit(max(1.0, math.floor(dof + 1e-9)), (1 + probability) / 2))


def decimals_for(uncertainty: float, digits: int = 2) -> int:
    """How many decimals show `uncertainty` with `digits` significant digits (negative: tens, hundreds)."""
    if not uncertainty > 0:
        return 6
    decimals = digits - 1 - math.floor(math.log10(uncertainty))
    # 0.0996 to two digits is 0.10: rounding can add a place
    if round(uncertainty, decimals) >= 10 ** (digits - decimals):
        decimals -= 1
    return decimals


def plus_minus(value: float, uncertainty: float, digits: int = 2) -> str:
    """`value ± uncertainty`, the uncertainty to `digits` digits and the value to the same place (GUM 7.2.6).

    >>> plus_minus(10.05762, 0.027)
    '10.058 ± 0.027'
    >>> plus_minus(1234.6, 120.0)
    '1230 ± 120'
    """
    if not uncertainty > 0:
        return f"{value:.6g}"
    decimals = decimals_for(uncertainty, digits)
    shown = max(decimals, 0)
    # + 0.0: a small negative value must not show as -0.00
    return f"{round(value, decimals) + 0.0:.{shown}f} ± {round(uncertainty, decimals):.{shown}f}"


def concise(value: float, uncertainty: float, digits: int = 2) -> str:
    """The bracket form of GUM 7.2.2, standard uncertainty in the last places.

    >>> concise(100.02147, 0.00035)
    '100.02147(35)'
    """
    if not uncertainty > 0:
        return f"{value:.6g}"
    decimals = decimals_for(uncertainty, digits)
    if decimals <= 0:
        return f"{round(value, decimals) + 0.0:.0f}({round(uncertainty, decimals):.0f})"
    return f"{round(value, decimals) + 0.0:.{decimals}f}({round(uncertainty * 10**decimals)})"
