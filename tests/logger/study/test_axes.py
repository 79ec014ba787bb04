from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.study.axes import axis, decimals, round_step

lows = st.floats(-1e5, 1e5)
spans = st.floats(1e-4, 1e5)


@given(lows, spans, st.integers(3, 10))
def test_an_axis_holds_its_values_ends_on_whole_steps_and_is_not_crowded(low: float, span: float, count: int) -> None:
    made = axis(low, low + span, start_px=0, end_px=100, about_count=count)
    assert made.low <= low + 1e-6 * made.step
    assert made.high >= low + span - 1e-6 * made.step
    assert 2 <= len(made.ticks()) <= count + 3
    assert made.low / made.step == pytest.approx(round(made.low / made.step), abs=1e-5)
    mantissa = made.step / 10 ** math.floor(math.log10(made.step) + 1e-9)
    assert min(abs(mantissa - m) for m in (1, 2, 5, 10)) < 1e-6


@given(lows, spans)
def test_values_are_drawn_in_proportion(low: float, span: float) -> None:
    made = axis(low, low + span, start_px=300, end_px=20, about_count=5, whole_steps=False)
    assert made.px(made.low) == pytest.approx(300)
    assert made.px(made.high) == pytest.approx(20)
    assert made.px((made.low + made.high) / 2) == pytest.approx(160)


def test_labels_have_the_decimals_of_the_step_and_a_real_minus() -> None:
    made = axis(-0.3, 0.2, start_px=0, end_px=1, about_count=5)
    assert [made.label(tick) for tick in made.ticks()] == ["−0.3", "−0.2", "−0.1", "0", "0.1", "0.2"]
    assert decimals(0.05) == 2
    assert decimals(20) == 0


def test_an_axis_may_be_asked_to_begin_at_nought() -> None:
    assert axis(0.31, 0.42, start_px=0, end_px=1, about_count=5, from_zero=True).low == 0
    assert axis(-0.1, 0.42, start_px=0, end_px=1, about_count=6, from_zero=True).low == pytest.approx(-0.1)


def test_values_that_are_all_equal_still_get_an_axis() -> None:
    made = axis(2.0, 2.0, start_px=0, end_px=10, about_count=5)
    assert made.low <= 2.0 < made.high


@pytest.mark.parametrize(("span", "count", "step"), [(4.3, 6, 1.0), (0.3, 3, 0.1), (9.9, 5, 2.0), (0.0, 5, 1.0)])
def test_steps_are_round(span: float, count: int, step: float) -> None:
    assert round_step(span, count) == pytest.approx(step)
