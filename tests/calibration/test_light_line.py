from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import CalibrationError
from calibration.light import measure_delay
from calibration.light_line import LineTime, RowDelay, line_time
from calibration.quantity import Quantity, Source
from tests.calibration.light_session import Session, play


def delay(value_s: float, u_s: float = 5e-5, shared_s: float = 0.0) -> Quantity:
    parts = {Source("blinks seen by the camera", 50.0): u_s, Source("moment of a switch"): shared_s}
    return Quantity(value_s, "s", parts)


def places(*rows_and_delays: tuple[float, Quantity]) -> list[RowDelay]:
    return [RowDelay(f"session {n}", row, each) for n, (row, each) in enumerate(rows_and_delays, 1)]


def test_two_places_give_line_time_and_delay() -> None:
    """By eye: 500 rows make 15 ms, so 30 µs a row; at row 0 there are 70 ms."""
    found = line_time(places((100, delay(0.067)), (600, delay(0.052))), claimed_ns=0)
    assert found.line.value == pytest.approx(30e-6)
    assert found.delay.value == pytest.approx(0.070)
    assert found.line.u == pytest.approx(math.sqrt(2) * 5e-5 / 500)


def test_what_the_camera_said_is_taken_into_account() -> None:
    found = line_time(places((100, delay(0.0705)), (600, delay(0.0725))), claimed_ns=34_000)
    assert found.line.value == pytest.approx(30e-6)
    assert found.delay.value == pytest.approx(0.0701)


def test_what_all_sessions_share_cancels_in_the_line_time_and_stays_in_the_delay() -> None:
    alone = line_time(places((100, delay(0.067)), (600, delay(0.052))), claimed_ns=0)
    shared = line_time(places((100, delay(0.067, shared_s=1e-3)), (600, delay(0.052, shared_s=1e-3))), claimed_ns=0)
    assert shared.line.u == pytest.approx(alone.line.u)
    assert shared.delay.u == pytest.approx(math.hypot(alone.delay.u, 1e-3))


@given(st.lists(st.floats(0, 1000), min_size=3, max_size=6, unique=True), st.floats(1e-5, 3e-4))
def test_a_straight_line_is_met_exactly(rows: list[float], u_s: float) -> None:
    if max(rows) - min(rows) < 60:
        return
    seen = places(*((row, delay(0.05 - 20e-6 * row, u_s * (1 + row / 500))) for row in rows))
    found = line_time(seen, claimed_ns=0)
    assert found.line.value == pytest.approx(20e-6, abs=1e-12)
    assert found.delay.value == pytest.approx(0.05, abs=1e-9)


def test_the_doubts_are_those_of_a_weighted_fit() -> None:
    """Against statsmodels' weighted least squares with known variances."""
    rng = np.random.default_rng(1)
    rows, u = np.array([40.0, 200.0, 380.0, 690.0]), np.array([4e-5, 9e-5, 6e-5, 5e-5])
    values = 0.06 - 25e-6 * rows + u * rng.normal(0, 1, 4)
    found = line_time(places(*((r, delay(d, s)) for r, d, s in zip(rows, values, u, strict=True))), claimed_ns=0)
    fit = sm.WLS(values, sm.add_constant(rows), weights=1 / u**2).fit(cov_type="fixed scale")
    assert found.delay.value == pytest.approx(fit.params[0], rel=1e-9)
    assert -found.line.value == pytest.approx(fit.params[1], rel=1e-9)
    assert [found.delay.u, found.line.u] == pytest.approx(list(fit.bse), rel=1e-6)


def rolling(line_s: float, seed: int) -> LineTime:
    """A camera that does not say its line time, and a light that stands high, then low in its picture."""
    seen = []
    for n, row in enumerate((80.0, 620.0)):
        switches, glimpses = play(Session(seed=seed + n, row_px=row, line_s=line_s, rate_hz=25))
        silent = replace(glimpses, line_ns=np.zeros_like(glimpses.line_ns))
        seen.append(RowDelay(f"row {row:g}", row, measure_delay(switches, silent).delay))
    return line_time(seen, claimed_ns=0)


@pytest.mark.parametrize(("line_s", "seed"), [(20e-6, 31), (45e-6, 41), (0.0, 51)])
def test_the_line_time_of_a_played_camera_is_found(line_s: float, seed: int) -> None:
    found = rolling(line_s, seed)
    assert found.line.value == pytest.approx(line_s, abs=1.5 * found.line.U)
    assert found.line.U < 0.5e-6
    assert found.delay.value == pytest.approx(0.080, abs=1.5 * found.delay.U)


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        (places((100, delay(0.06))), r"found 1 session\(s\), 0 rows apart; wanted two or more, 50 rows apart"),
        (places((100, delay(0.06)), (130, delay(0.06))), r"found 2 session\(s\), 30 rows apart"),
        (places((100, delay(0.05)), (600, delay(0.065))), "the rows would go upwards"),
        (
            places((100, delay(0.06)), (300, delay(0.05)), (500, delay(0.06))),
            "the delays lie on no straight line, session 2 least",
        ),
    ],
)
def test_what_gives_no_line_time_is_refused(seen: list[RowDelay], words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        line_time(seen, claimed_ns=0)
