from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.study.bands import band, bands, divide, plain, rounded


def test_by_eye_the_same_run_for_three_ages() -> None:
    told = [divide(984.5, 3.5659, shown).told(shown) for shown in bands()]  # type: ignore[union-attr]
    assert told == [
        "98 cm ÷ 3.6 s = 27 cm each second",
        "98.5 cm ÷ 3.57 s = 27.6 cm/s",
        "0.9845 m ÷ 3.566 s = 0.2761 m/s",
    ]


@given(distance_mm=st.floats(1, 20_000), time_s=st.floats(0.2, 60))
def test_who_divides_the_shown_numbers_by_hand_gets_the_shown_speed(distance_mm: float, time_s: float) -> None:
    for shown in bands():
        division = divide(distance_mm, time_s, shown)
        assert division is not None
        by_hand = Decimal(plain(division.distance)) / Decimal(plain(division.time))
        assert abs(by_hand - division.speed) <= Decimal(5).scaleb(-shown.speed.decimals - 1)


@given(distance_mm=st.floats(100, 20_000), time_s=st.floats(0.5, 60))
def test_the_shown_speed_is_off_by_no_more_than_rounding_explains(distance_mm: float, time_s: float) -> None:
    for shown in bands():
        division = divide(distance_mm, time_s, shown)
        assert division is not None
        true = distance_mm / time_s * shown.speed.per
        off_distance = 0.5 * 10**-shown.length.decimals / (distance_mm * shown.length.per)
        off_time = 0.5 * 10**-shown.time.decimals / (time_s - 0.5 * 10**-shown.time.decimals)
        allowed = true * (off_distance + off_time + off_distance * off_time) + 0.5 * 10**-shown.speed.decimals
        assert abs(float(division.speed) - true) <= allowed * (1 + 1e-9)


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [(0.125, 2, "0.13"), (-0.125, 2, "−0.13"), (2.5, 0, "3"), (-0.04, 1, "0.0"), (1.005, 2, "1.01")],
)
def test_a_five_goes_up_and_nought_has_no_sign(value: float, decimals: int, shown: str) -> None:
    assert plain(rounded(value, decimals)) == shown


def test_no_time_no_speed() -> None:
    assert divide(100.0, 0.001, band("2-3")) is None


def test_units_are_spoken_whole() -> None:
    for shown in bands():
        for scale in (shown.time, shown.length, shown.speed):
            assert "/" not in scale.words
            assert len(scale.words) > 5


def test_an_age_that_is_not_there() -> None:
    with pytest.raises(KeyError, match="9-12"):
        band("9-12")
