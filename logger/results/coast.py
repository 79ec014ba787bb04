"""How the water holds a coasting boat: the drag coefficients per mass from its way after power was cut.

m·dv/dt = −(a·v + b·v²), with m the mass and the water that moves along. From a track only a/m and b/m can be had, never
the three apart. The way from the beginning of the coast is

    linear      x = (v₀/α)·(1 − e^(−αt))                α = a/m
    quadratic   x = (1/β)·ln(1 + βv₀t)                  β = b/m
    combined    x = (1/β)·ln(1 + (βv₀/α)·(1 − e^(−αt)))

    drafted   the combined law beside a steady draught, with v₁ the speed at which that would keep the boat

fitted by least squares with the analytic derivatives: with finite differences the standard errors keep some four
digits only. A fit that does not settle, or in which a coefficient is lost in doubt as large as the whole drag, is a
NotMeasured with a sentence.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from logger.results.trial import NotMeasured

Floats = NDArray[np.float64]
Law: TypeAlias = Literal["linear", "quadratic", "combined", "drafted"]
Form: TypeAlias = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""(time, parameters) -> way (n,), derivatives by the parameters (n, p)."""

_SMALL = 1e-9
_IMAGINARY = 1e-30
_WORST_RELATIVE_U = 1.0
_CREEP_MM_PER_S = 1.0
"""A first guess."""
_NEAR = 1e-3
"""A search that has come to an end is this near the place that it sought, relative to the parameters."""
_STEPS_COUNT = 10
_FOLD_U = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A least-squares fit of p parameters to n values."""

    parameters: Floats
    covariance: Floats
    """(p, p), from the scatter about the curve unless the values' own doubt was given."""
    residual_sum: float
    """Sum of squared residuals, in the values' unit squared."""
    dof: int
    """n - p."""

    @property
    def u(self) -> Floats:
        """(p,) standard uncertainties."""
        return np.asarray(np.sqrt(np.diag(self.covariance)), np.float64)

    @property
    def residual_sd(self) -> float:
        """Standard deviation of the values about the curve."""
        return float(np.sqrt(self.residual_sum / self.dof))


@dataclass(frozen=True, slots=True)
class Drag:
    """What holds the boat: α in 1/s, β in 1/mm; a coefficient that the law has not is 0."""

    law: Law
    linear_per_s: float
    u_linear_per_s: float
    quadratic_per_mm: float
    u_quadratic_per_mm: float
    speed_mm_per_s: float
    """At the beginning of the coast."""
    u_speed_mm_per_s: float
    shared: float
    """Covariance of α and β."""
    residual_mm: float
    """Standard deviation of the way about the curve."""
    evidence: float
    """Bayesian information criterion (Schwarz 1978) up to what is the same for all laws: less is better."""

    def slowing_mm_per_s2(self, speed_mm_per_s: float) -> float:
        """Loss of speed by drag at a speed."""
        return speed_mm_per_s * (self.linear_per_s + self.quadratic_per_mm * speed_mm_per_s)

    def u_slowing_mm_per_s2(self, speed_mm_per_s: float) -> float:
        """Its standard uncertainty from that of the coefficients."""
        v = speed_mm_per_s
        variance = self.u_linear_per_s**2 + 2 * v * self.shared + (v * self.u_quadratic_per_mm) ** 2
        return float(v * np.sqrt(max(variance, 0.0)))


def linear_way(time: Floats, parameters: Floats) -> tuple[Floats, Floats]:
    """Parameters (v₀, α): way and its derivatives."""
    v, a = parameters
    fall = -np.expm1(-a * time)
    by_v = fall / a
    by_a = v * (time * np.exp(-a * time) / a - fall / a**2)
    return v * by_v, np.column_stack([by_v, by_a])


def quadratic_way(time: Floats, parameters: Floats) -> tuple[Floats, Floats]:
    """Parameters (v₀, β): way and its derivatives."""
    v, b = parameters
    inner = 1 + b * v * time
    way = np.log(inner) / b
    return way, np.column_stack([time / inner, v * time / (b * inner) - way / b])


def combined_way(time: Floats, parameters: Floats) -> tuple[Floats, Floats]:
    """Parameters (v₀, α, β): way and its derivatives."""
    v, a, b = parameters
    left = np.exp(-a * time)
    fall = -np.expm1(-a * time)
    inner = 1 + b * v / a * fall
    way = np.log(inner) / b
    by_v = fall / (a * inner)
    by_a = v * (time * left / a - fall / a**2) / inner
    by_b = v * fall / (a * b * inner) - way / b
    return way, np.column_stack([by_v, by_a, by_b])


def drafted_way(time: Floats, parameters: Floats) -> tuple[Floats, Floats]:
    """Parameters (v₀, α, β, v₁): the combined law with a steady draught that alone would keep the boat at v₁.

    (v − v₁)/(v + v₂) with v₂ = v₁ + α/β dies away at the rate α + 2βv₁. Derivatives by an imaginary step, which has no
    rounding to trade against (Squire and Trapp, SIAM Review 40:110-112, 1998).
    """
    slopes = np.empty((len(time), 4))
    for i in range(4):
        step = parameters.astype(np.complex128)
        step[i] += 1j * _IMAGINARY * max(abs(parameters[i]), 1.0)
        slopes[:, i] = _drafted(time, step).imag / (_IMAGINARY * max(abs(parameters[i]), 1.0))
    return _drafted(time, parameters.astype(np.complex128)).real, slopes


def _drafted(time: Floats, parameters: NDArray[np.complex128]) -> NDArray[np.complex128]:
    v, a, b, creep = parameters
    first = (v - creep) / (v + creep + a / b)
    left = first * np.exp(-(a + 2 * b * creep) * time)
    way: NDArray[np.complex128] = creep * time + np.log((1 - left) / (1 - first)) / b
    return way


_FORMS: dict[Law, Form] = {
    "linear": linear_way, "quadratic": quadratic_way, "combined": combined_way, "drafted": drafted_way
}  # fmt: skip


def fit(form: Form, time: Floats, values: Floats, *, start: Floats, u_value: float | None = None) -> Fit | NotMeasured:
    """Least squares of `form` to `values` (n,) at `time` (n,), from parameters `start` (p,).

    Args:
        form: way and analytic derivatives.
        time: moments.
        values: what was measured there.
        start: first guess, none of it 0: parameters are sought in units of it.
        u_value: standard uncertainty of each value; None: taken from the scatter.
    """
    scale = np.abs(start)
    dof = len(values) - len(start)
    if dof < 1:
        return NotMeasured(f"{len(values)} values are too few for {len(start)} coefficients.")

    def off(share: Floats) -> Floats:
        return _finite(form(time, share * scale)[0] - values)

    def slope(share: Floats) -> Floats:
        return _finite(form(time, share * scale)[1] * scale)

    with np.errstate(all="ignore"):
        try:
            found = least_squares(
                off,
                start / scale,
                jac=slope,
                method="lm",
                xtol=1e-15,
                ftol=1e-15,
                gtol=1e-15,
                max_nfev=2000,
            )
            share = _settled(np.asarray(found.x, np.float64), off, slope)
            residual, jacobian = off(share), slope(share)
        except (ValueError, np.linalg.LinAlgError):
            return NotMeasured("The fit of the coast ran away from the data.")
    _, singular, right = np.linalg.svd(jacobian, full_matrices=False)
    if found.status <= 0 or singular[-1] <= _SMALL * singular[0]:
        return NotMeasured("The fit of the coast did not settle: the data do not tell its coefficients apart.")
    residual_sum = float(residual @ residual)
    variance = residual_sum / dof if u_value is None else u_value**2
    covariance = (right.T / singular**2) @ right * variance * np.outer(scale, scale)
    return Fit(share * scale, covariance, residual_sum, dof)


def _settled(share: Floats, off: Callable[[Floats], Floats], slope: Callable[[Floats], Floats]) -> Floats:
    """`share` after Gauss-Newton steps for as long as each is much shorter than the one before.

    A search by sums of squares stops where these no longer change, which leaves the parameters half as many digits.
    """
    last = _NEAR * float(np.linalg.norm(share))
    for _ in range(_STEPS_COUNT):
        step = np.linalg.lstsq(slope(share), -off(share), rcond=None)[0]
        length = float(np.linalg.norm(step))
        if not length < last / 2:
            break
        share, last = share + step, length
    return share


def drag(
    time_s: Floats, way_mm: Floats, *, law: Law, speed_mm_per_s: float, creep_mm_per_s: float = 0.0
) -> Drag | NotMeasured:
    """The drag of a coast from its way.

    Args:
        time_s: (n,) since power was cut.
        way_mm: (n,) from about the place of the boat at that moment, which is sought as well: it is no better known
            than any other.
        law: which terms of the drag are wanted.
        speed_mm_per_s: about the speed at the beginning, > 0; a first guess.
        creep_mm_per_s: of the combined law: the speed at which a known draught would keep the boat.
    """
    length, lasted = float(way_mm[-1] - way_mm[0]), float(time_s[-1] - time_s[0])
    if not (speed_mm_per_s > 0 and length > 0 and lasted > 0):
        return NotMeasured("The boat did not coast.")
    rate = max(speed_mm_per_s / length - 0.5 / lasted, 0.1 / lasted)
    both = [rate / 2, rate / 2 / speed_mm_per_s]
    guess = {
        "linear": [rate], "quadratic": [rate / speed_mm_per_s], "combined": both, "drafted": [*both, _CREEP_MM_PER_S]
    }  # fmt: skip
    form = _creeping(creep_mm_per_s) if law == "combined" and creep_mm_per_s else _FORMS[law]
    found = fit(_from_anywhere(form), time_s, way_mm, start=np.array([speed_mm_per_s, *guess[law], 1.0]))
    if isinstance(found, NotMeasured):
        return found
    v, *terms, _ = found.parameters
    u_v, *u_terms, _ = found.u
    if law == "drafted" and _folded(found):
        return NotMeasured("The coast is too short to tell drag from a draught.")
    a, u_a = (terms[0], u_terms[0]) if law != "quadratic" else (0.0, 0.0)
    b, u_b = (terms[len(terms) > 1], u_terms[len(terms) > 1]) if law != "linear" else (0.0, 0.0)
    shared = float(found.covariance[1, 2]) if len(terms) > 1 else 0.0
    count = len(time_s)
    evidence = count * np.log(found.residual_sum / count) + len(found.parameters) * np.log(count)
    drag = Drag(
        law, float(a), float(u_a), float(b), float(u_b), float(v), float(u_v), shared, found.residual_sd,
        float(evidence),
    )  # fmt: skip
    whole = drag.slowing_mm_per_s2(speed_mm_per_s)
    worst = max(u_a * speed_mm_per_s, u_b * speed_mm_per_s**2, drag.u_slowing_mm_per_s2(speed_mm_per_s))
    # of two terms one may be nothing, even less by chance; the sum may not
    if not (v > 0 and whole > 0 and worst < _WORST_RELATIVE_U * whole):
        return NotMeasured(f"The coast is too short or too rough to tell the coefficients of {law} drag.")
    return drag


def _creeping(creep_mm_per_s: float) -> Form:
    """The combined law with a draught that is known."""

    def way(time: Floats, parameters: Floats) -> tuple[Floats, Floats]:
        values, slopes = drafted_way(time, np.append(parameters, creep_mm_per_s))
        return values, slopes[:, :3]

    return way


def _folded(found: Fit) -> bool:
    """Whether draughts v₁ and −v₁ − α/β, which make the same way, are too near each other for a linear doubt.

    Where the two meet the way no longer changes with v₁, and no u of any coefficient means anything.
    """
    _, a, b, creep, _ = found.parameters
    return bool(abs(creep + a / (2 * b)) < _FOLD_U * found.u[3])


def _from_anywhere(form: Form) -> Form:
    """The same way with one more parameter, mm: where it began."""

    def way(time: Floats, parameters: Floats) -> tuple[Floats, Floats]:
        values, slopes = form(time, parameters[:-1])
        return values + parameters[-1], np.column_stack([slopes, np.ones(len(time))])

    return way


def _finite(values: Floats) -> Floats:
    if not np.isfinite(values).all():
        raise ValueError("not finite")
    return values
