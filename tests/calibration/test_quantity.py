"""A value with its doubt: laws, printing, and 2,000 random calculations against GTC.

The worked examples of the GUM are in tests/reference.
"""

from __future__ import annotations

import math
import pickle

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.quantity import Quantity, Source, concise, coverage_factor, decimals_for, plus_minus

METRES = st.floats(-50, 50)
DOUBTS = st.floats(1e-6, 10)


def made(value: float, u: float, source: str, unit: str = "mm") -> Quantity:
    return Quantity.of(value, unit, u=u, source=source)


def test_four_unit_normals_add_to_two_and_392() -> None:
    """JCGM 101:2008, 9.2.2: the sum of four N(0, 1) has u = 2.0 and the 95 % interval ±3.92."""
    total = Quantity.linear(0.0, "1", [(1, made(0, 1, name, "1")) for name in "abcd"])
    assert total.u == pytest.approx(2.0)
    assert abs(total.U - 3.92) < 0.005


def test_four_rectangles_of_unit_sd_too() -> None:
    """JCGM 101:2008, 9.2.3: the law of propagation gives ±3.92 there as well (the true interval is ±3.88)."""
    parts = [Quantity.rectangular(0, "1", half_width=math.sqrt(3), source=name) for name in "abcd"]
    assert abs((parts[0] + parts[1] + parts[2] + parts[3]).U - 3.92) < 0.005


def test_a_mass_calibration_to_first_order() -> None:
    """JCGM 101:2008, 9.3: u = 0.0539 mg and [1.1285, 1.3395] mg by the first-order law of propagation."""
    total = Quantity.linear(
        1.234,
        "mg",
        [
            (1, made(100_000.000, 0.050, "reference mass", "mg")),
            (1, made(1.234, 0.020, "mass that was added", "mg")),
            # buoyancy is counted from 1.2 kg/m3, the middle of the air's density: to first order it has no effect
            (0, Quantity.rectangular(1.2, "kg/m3", half_width=0.1, source="density of air")),
        ],
    )
    assert total.u == pytest.approx(0.0539, abs=5e-5)
    assert total.value - total.U == pytest.approx(1.1285, abs=5e-5)
    assert total.value + total.U == pytest.approx(1.3395, abs=5e-5)


@given(METRES, DOUBTS)
def test_what_is_taken_from_itself_leaves_no_doubt(value: float, u: float) -> None:
    length = made(value, u, "tape")
    assert (length - length).u == 0
    assert math.isinf((length - length).dof)


@given(METRES, METRES, DOUBTS, DOUBTS)
def test_independent_doubts_add_in_squares(a: float, b: float, u_a: float, u_b: float) -> None:
    for result in (made(a, u_a, "first") + made(b, u_b, "second"), made(a, u_a, "first") - made(b, u_b, "second")):
        assert result.u == pytest.approx(math.hypot(u_a, u_b))


@given(st.floats(0.5, 50), st.floats(0.5, 50), DOUBTS, DOUBTS)
def test_times_undoes_over(a: float, b: float, u_a: float, u_b: float) -> None:
    first, second = made(a, u_a, "first"), made(b, u_b, "second")
    back = first.over(second, "1").times(second, "mm")
    assert back.value == pytest.approx(a)
    assert back.u == pytest.approx(u_a)


@given(METRES, DOUBTS, st.floats(-1000, 1000).filter(lambda f: abs(f) > 1e-6))
def test_a_change_of_unit_scales_value_and_doubt_alike(value: float, u: float, factor: float) -> None:
    other = made(value, u, "tape").scaled(factor, "other")
    assert other.value == factor * value
    assert other.u == pytest.approx(abs(factor) * u)
    assert other.unit == "other"


def test_a_source_without_effect_is_not_kept() -> None:
    assert dict(Quantity(1.0, "mm", {Source("nothing"): 0.0}).contributions) == {}


def test_a_quantity_cannot_be_changed() -> None:
    length = made(1, 0.1, "tape")
    with pytest.raises(TypeError, match="item assignment"):
        length.contributions[Source("x")] = 3.0  # type: ignore[index]
    with pytest.raises(AttributeError, match=r"value"):
        length.value = 2.0  # type: ignore[misc]


def test_a_quantity_goes_through_pickle_whole() -> None:
    length = made(1, 0.1, "tape").plus_doubt(Source("hand", 4.0, "readings"), 0.2)
    again = pickle.loads(pickle.dumps(length))  # noqa: S301
    assert again == length
    assert again.dof == length.dof


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_value_that_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="a finite number is wanted"):
        Quantity(value, "mm")


@pytest.mark.parametrize("part", [math.nan, math.inf])
def test_a_doubt_that_is_no_number_is_refused(part: float) -> None:
    with pytest.raises(ValueError, match="'tape' is not finite"):
        Quantity(1.0, "mm", {Source("tape"): part})


def test_millimetres_and_seconds_do_not_add() -> None:
    with pytest.raises(ValueError, match="'mm' and 's' cannot be added; convert one first"):
        made(1, 0.1, "tape") + made(1, 0.1, "clock", "s")


def test_division_by_nothing_is_python_s_own_error() -> None:
    with pytest.raises(ZeroDivisionError, match="division"):
        made(1, 0.1, "tape").over(made(0, 0.1, "clock", "s"), "mm/s")


def test_parts_of_one_fit_count_once_in_the_degrees_of_freedom() -> None:
    """Their sum has the fit's own 5; the same parts taken as independent sources would claim twice as many."""
    covariance = [[0.01, -0.016], [-0.016, 0.04]]
    a, b = Quantity.jointly([1.0, 2.0], ["1", "1"], covariance, source="line", dof=5)
    assert (a.u, b.u) == (pytest.approx(0.1), pytest.approx(0.2))
    assert (a + b).u == pytest.approx(math.sqrt(0.018))
    assert (a + b).dof == pytest.approx(5.0)
    loose = [Quantity(q.value, "1", {Source(s.name, 5): c for s, c in q.contributions.items()}) for q in (a, b)]
    assert (loose[0] + loose[1]).dof == pytest.approx(10.0)


def test_a_singular_covariance_is_a_covariance_too() -> None:
    a, b = Quantity.jointly([1.0, 2.0], ["mm", "mm"], [[4.0, 4.0], [4.0, 4.0]], source="tape")
    assert (a - b).u == pytest.approx(0, abs=1e-12)
    assert a.u == pytest.approx(2)


@pytest.mark.parametrize("wrong", [[[1.0, 2.0], [2.0, 1.0]], [[-1.0, 0.0], [0.0, 1.0]], [[1.0, 0.5], [0.0, 1.0]]])
def test_a_matrix_that_is_no_covariance_is_refused(wrong: list[list[float]]) -> None:
    with pytest.raises(ValueError, match=r"line: .* is no covariance"):
        Quantity.jointly([1.0, 2.0], ["1", "1"], wrong, source="line")


def test_tiny_units_do_not_change_the_degrees_of_freedom() -> None:
    tiny = Quantity(0.0, "1", {Source("a", 4): 3e-120, Source("b", 9): 4e-120})
    usual = Quantity(0.0, "1", {Source("a", 4): 3.0, Source("b", 9): 4.0})
    assert tiny.dof == pytest.approx(usual.dof) == pytest.approx(625 / (81 / 4 + 256 / 9))


OURS = (
    lambda x, y: x + y,
    lambda x, y: x - y,
    lambda x, y: x.times(y, "1"),
    lambda x, y: x.over(y, "1"),
    lambda x, _: Quantity.linear(math.sqrt(x.value), "1", [(0.5 / math.sqrt(x.value), x)]),
)
THEIRS = (
    lambda x, y: x + y,
    lambda x, y: x - y,
    lambda x, y: x * y,
    lambda x, y: x / y,
    lambda x, _: GTC.sqrt(x),
)


def random_case(rng: np.random.Generator) -> tuple[Quantity, object]:
    """The same random calculation in ours and in GTC: two loose inputs, two of one fit, eight steps, inputs reused."""
    values, relative = rng.uniform(1, 5, 4), rng.uniform(0.001, 0.1, 4)
    u, r, dof = values * relative, rng.uniform(-0.95, 0.95), float(rng.integers(2, 30))
    covariance = np.array([[u[2] ** 2, r * u[2] * u[3]], [r * u[2] * u[3], u[3] ** 2]])
    nu = [math.inf if rng.random() < 0.3 else float(rng.integers(1, 40)) for _ in range(2)]
    ours = [Quantity.of(values[i], "1", u=u[i], source=f"input {i}", dof=nu[i]) for i in range(2)]
    ours += Quantity.jointly(list(values[2:]), ["1", "1"], covariance, source="fit", dof=dof)
    theirs = [GTC.ureal(values[i], u[i], nu[i]) for i in range(2)]
    theirs += GTC.multiple_ureal(list(values[2:]), list(u[2:]), dof)
    GTC.set_correlation(r, theirs[2], theirs[3])
    for _ in range(8):
        i, j, operation = (int(n) for n in (*rng.integers(0, len(ours), 2), rng.integers(0, 5)))
        if (operation == 3 and abs(ours[j].value) < 0.05) or (operation == 4 and ours[i].value < 0.05):
            continue
        ours.append(OURS[operation](ours[i], ours[j]))
        theirs.append(THEIRS[operation](theirs[i], theirs[j]))
    return ours[-1], theirs[-1]


def test_two_thousand_random_calculations_agree_with_gtc() -> None:
    rng = np.random.default_rng(20261125)
    compared = 0
    for _ in range(2000):
        ours, theirs = random_case(rng)
        assert ours.value == pytest.approx(GTC.value(theirs), rel=1e-12, abs=1e-12)
        scale = max(abs(ours.value), 1.0)
        assert ours.u == pytest.approx(GTC.uncertainty(theirs), rel=1e-9, abs=1e-13 * scale)
        if GTC.uncertainty(theirs) < 1e-9 * scale:
            continue  # everything cancelled: no doubt is left to have degrees of freedom
        compared += 1
        expected = GTC.dof(theirs)
        assert ours.dof == pytest.approx(expected, rel=1e-7) or (math.isinf(ours.dof) and expected > 1e6)
    assert compared > 1800


@pytest.mark.parametrize(
    ("value", "uncertainty", "shown"),
    [
        (0.0996, 0.0996, "0.10 ± 0.10"),
        (9.96, 0.996, "10.0 ± 1.0"),
        (-0.001, 0.5, "0.00 ± 0.50"),
        (1234.6, 120.0, "1230 ± 120"),
        (987_654.0, 12_345.0, "988000 ± 12000"),
        (123456.0, 999.6, "123500 ± 1000"),
        (5.0, 0.0, "5"),
        (2.5e-7, 1.234e-9, "0.0000002500 ± 0.0000000012"),
    ],
)
def test_value_and_doubt_end_at_the_same_place(value: float, uncertainty: float, shown: str) -> None:
    assert plus_minus(value, uncertainty) == shown


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_no_printed_figure_hides_more_than_a_twentieth_of_the_doubt(value: float, uncertainty: float) -> None:
    shown_value, shown_doubt = plus_minus(value, uncertainty).split(" ± ")
    assert abs(float(shown_doubt) - uncertainty) <= 0.0501 * uncertainty
    assert abs(float(shown_value) - value) <= 0.0501 * uncertainty
    digits = shown_doubt.replace(".", "").lstrip("0")
    assert len(digits.rstrip("0")) <= 2
    assert not shown_value.startswith("-0.00") or float(shown_value) != 0


@pytest.mark.parametrize(
    ("value", "uncertainty", "shown"),
    [
        (100.02147, 0.00035, "100.02147(35)"),
        (12.34, 1.5, "12.3(15)"),
        (1234.6, 123.0, "1230(120)"),
        (-0.0001, 0.5, "0.00(50)"),
        (5.0, 0.0, "5"),
    ],
)
def test_the_bracket_form_counts_in_the_last_places(value: float, uncertainty: float, shown: str) -> None:
    assert concise(value, uncertainty) == shown


def test_the_shown_interval_is_the_expanded_one() -> None:
    assert str(made(1200.0, 1.0, "tape")) == "1200.0 ± 2.0 mm"
    assert str(Quantity(0.98, "")) == "0.98"


@given(st.floats(1, 1e5), st.floats(0.5, 0.999))
def test_fewer_degrees_of_freedom_never_make_a_result_surer(dof: float, probability: float) -> None:
    assert coverage_factor(dof, probability) >= coverage_factor(dof + 1, probability) - 1e-12
    assert coverage_factor(dof, probability) >= coverage_factor(math.inf, probability) - 1e-9


def test_half_a_degree_of_freedom_is_taken_as_one() -> None:
    assert coverage_factor(0.5) == pytest.approx(12.706, abs=5e-4)


@given(st.floats(1e-9, 1e9), st.integers(1, 4))
def test_decimals_show_the_wanted_number_of_digits(uncertainty: float, digits: int) -> None:
    scaled = round(round(uncertainty, decimals_for(uncertainty, digits)) * 10.0 ** decimals_for(uncertainty, digits))
    assert len(str(scaled)) == digits


def test_a_number_without_doubt_still_has_decimals() -> None:
    assert decimals_for(0.0) == 6
