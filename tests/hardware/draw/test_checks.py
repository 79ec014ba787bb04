"""Every circuit holds at its worst; and the check can fail: wrong parts are found."""

from __future__ import annotations

import math

import pytest

from hardware.draw import circuits
from hardware.draw.checks import Check, carrier_hz, checks_of, every_check

EVERY = every_check()


@pytest.mark.parametrize("check", EVERY, ids=lambda c: f"{c.circuit}: {c.what}")
def test_the_worst_is_borne(check: Check) -> None:
    assert check.holds, f"{check.worst:.3g} {check.unit}; {check.sense} {check.limit:.3g}: {check.source}"
    assert check.source


def test_every_circuit_is_checked() -> None:
    assert {check.circuit for check in EVERY} == {circuit.name for circuit in circuits.every_circuit()}


@pytest.mark.parametrize(
    ("part", "value", "found"),
    [
        ("R12", "10 Ω", "signal wire on 5 V: current into the pin"),  # no protection to speak of
        ("R13", "100 Ω", "signal wire at −1 V: current into the pin"),
        ("R11", "1 kΩ", "free beam: current into the receiver"),  # a pull-up that the receiver cannot pull down
        ("C10", "100 nF", "beam breaks: pin later by"),  # a filter that eats the stamp
        ("R10", "10 Ω", "supply wire shorted to ground: current from 3.3 V"),
        ("R33", "22 Ω", "LED's current while on"),
        ("R33", "1 kΩ", "light at 1.5 m"),
        ("C31", "2 nF", "carrier, trimmer at the other end"),
        ("R32", "100 kΩ", "transistor fully on: collector over base current"),
        ("R64", "100 Ω", "light: current of its pin"),
        ("R60", "47 kΩ", "lamp's transistor fully on: collector over base current"),
        ("B62", "10 Ω", "5 V: lamp, buzzer and both emitters"),
        ("R51", "10 Ω", "button's pin made an output by mistake: its current"),
        ("C52", "1 µF", "GO pressed: pin later by"),
        ("R41", "47 kΩ", "beam broken: below the threshold by"),
    ],
)
def test_a_wrong_part_is_found(part: str, value: str, found: str) -> None:
    broken = {check.what for check in every_check({part: value}) if not check.holds}
    assert found in broken


def test_a_circuit_without_a_check_is_told() -> None:
    with pytest.raises(KeyError, match="unknown"):
        list(checks_of(circuits.Circuit("unknown", "", ())))


def test_the_carrier_follows_the_timer_s_formula() -> None:
    """Data sheet of the 555: f = 1.44 / ((Ra + 2 Rb) C)."""
    circuit = circuits.infrared_emitter()
    by_sheet = 1.44 / ((1e3 + 2 * 18.5e3) * 1e-9)
    assert carrier_hz(circuit, trimmer_ohm=2500) == pytest.approx(by_sheet, rel=3e-3)
    assert carrier_hz(circuit, trimmer_ohm=2500) == pytest.approx(38e3, rel=0.01)


def test_the_pin_s_lateness_is_that_of_its_resistors_and_capacitors() -> None:
    """By hand: two stages, the wire's and the pin's; the sum of their R·C lies near the time to 63 %."""
    late_us = next(c.worst for c in EVERY if (c.circuit, c.what) == ("gates_at_pi", "beam breaks: pin later by"))
    pull = 1 / (1 / 10.5e3 + 1 / 33e3 + 1 / 73e3)
    elmore_us = 1e6 * (pull * (0.6e-9 + 1e-9) + 2.1e3 * 1e-9)
    assert late_us == pytest.approx(elmore_us * -math.log(1 - (2.0 - 0.3) / (3.3 - 0.3)), rel=0.25)
