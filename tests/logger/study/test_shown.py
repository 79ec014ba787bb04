from __future__ import annotations

import pytest

from calibration.quantity import Quantity
from logger.results.trial import Result
from logger.study.bands import band
from logger.study.shown import doubt_of, for_band


def result(value: float, unit: str, u: float, *, at_least: bool = False) -> Result:
    return Result(Quantity.of(value, unit, u=u, source="camera"), "camera", at_least)


@pytest.mark.parametrize(
    ("name", "time", "drift"),
    [
        ("2-3", "about 3.6 seconds", "about 55 centimetres"),
        ("4-5", "3.57\u00a0s (could be off by about 0.01\u00a0s)", "55.3\u00a0cm (could be off by about 0.1\u00a0cm)"),
        ("6-8", "3.5659\u00a0±\u00a00.0098\u00a0s", "553.14\u00a0±\u00a00.76\u00a0mm"),
    ],
)
def test_by_eye(name: str, time: str, drift: str) -> None:
    assert for_band(result(3.5659, "s", 0.005), band(name)) == time
    assert for_band(result(553.14, "mm", 0.39), band(name)) == drift


def test_a_lower_bound_is_never_about() -> None:
    assert for_band(result(864.4, "mm", 0.3, at_least=True), band("2-3")) == "at least 86 centimetres"
    assert for_band(result(864.4, "mm", 0.3, at_least=True), band("4-5")).startswith("at least 86.4")


def test_metres_per_second_of_the_tool_are_centimetres_of_the_page() -> None:
    assert for_band(result(0.2761, "m/s", 0.001), band("4-5")) == "27.6\u00a0cm/s (could be off by about 0.2\u00a0cm/s)"


def test_a_count_is_a_count() -> None:
    assert for_band(Result(Quantity(3.0, "1", {}), "camera"), band("2-3")) == "3"


@pytest.mark.parametrize(
    ("doubt", "decimals", "said"),
    [(0.004, 2, "0.01"), (0.021, 2, "0.03"), (0.03, 2, "0.03"), (1.2, 0, "2"), (0.0, 1, "0.1")],
)
def test_a_doubt_is_rounded_up_and_never_nought(doubt: float, decimals: int, said: str) -> None:
    assert doubt_of(doubt, decimals) == said
