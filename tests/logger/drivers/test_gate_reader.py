"""What a level says of a beam depends on how the sensor is wired."""

from __future__ import annotations

from typing import Literal

import pytest

from logger.drivers.gate_reader import GoneError, Wiring
from logger.drivers.gpio_chips import Chip


@pytest.mark.parametrize(
    ("blocked_is", "high", "blocked"),
    [("low", False, True), ("low", True, False), ("high", True, True), ("high", False, False)],
)
def test_polarity(blocked_is: Literal["low", "high"], high: bool, blocked: bool) -> None:
    wiring = Wiring(Chip("/dev/gpiochip0", "x", 8), {"A": 1}, blocked_is, "up", "gates")
    assert wiring.is_blocked(high=high) is blocked


def test_what_has_gone_carries_its_cure() -> None:
    gone = GoneError("the pins cannot be read", "plug it in")
    assert (str(gone), gone.cure) == ("the pins cannot be read", "plug it in")
