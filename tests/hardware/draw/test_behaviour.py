"""The models of diodes go through the points that data sheets of their class print."""

from __future__ import annotations

import math

import pytest

from hardware.draw.behaviour import JUNCTIONS, PI, RP2040, THERMAL_V


def drop_v(name: str, current_a: float) -> float:
    it = JUNCTIONS[name]
    return it.ideality * THERMAL_V * math.log(current_a / it.saturation_a + 1) + it.series_ohm * current_a


@pytest.mark.parametrize(
    ("name", "current_a", "drop"),
    [
        ("schottky", 1e-4, 0.24),  # at most, data sheet class of small Schottky diodes, from memory
        ("schottky", 1e-3, 0.32),
        ("silicon", 1e-2, 0.72),  # 0.72 V at 10 mA of switching diodes, from memory
        ("red_led", 1e-2, 1.9),  # 1.8 to 2.0 V at 10 mA, from memory
        ("ir_led", 0.1, 1.45),  # 1.35 V as a rule and 1.6 V at most: 940 nm, 5 mm, from memory
        ("ir_led", 0.02, 1.3),
    ],
)
def test_a_junction_drops_what_its_class_drops(name: str, current_a: float, drop: float) -> None:
    assert drop_v(name, current_a) == pytest.approx(drop, abs=0.07)


def test_pin_limits_are_those_of_the_documentation() -> None:
    """Raspberry Pi documentation, GPIO, Voltage specifications, BCM2711; RP2040 data sheet, Digital IO."""
    assert (PI.low_at_most_v, PI.high_at_least_v, PI.pull_least_ohm, PI.pull_most_ohm) == (0.8, 2.0, 33e3, 73e3)
    assert 3.3 - PI.out_ohm * 4e-3 == pytest.approx(2.6)  # V_OH at least 2.6 V at 4 mA
    assert (RP2040.low_at_most_v, RP2040.pull_least_ohm, RP2040.pull_most_ohm) == (0.8, 50e3, 80e3)
    assert 3.3 - RP2040.out_ohm * 4e-3 == pytest.approx(2.62)
