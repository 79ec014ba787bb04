"""How parts behave and what pins bear: the figures of the electrical check, each with its source.

"Data sheet class" means: the value that data sheets of this class of part agree on; "from memory" says so. A technician
who buys a part with worse figures changes them here, and the check says whether the rig still holds.
"""

from __future__ import annotations

from dataclasses import dataclass

THERMAL_V = 0.02585
"""kT/q at 300 K."""


@dataclass(frozen=True, slots=True)
class Junction:
    """A diode: i = saturation · (exp(v / (ideality · kT/q)) − 1), and a resistance in series."""

    saturation_a: float
    ideality: float
    """Of dimension one."""
    series_ohm: float
    """In ohms."""
    source: str


@dataclass(frozen=True, slots=True)
class Transistor:
    """An NPN transistor after Ebers and Moll, in its transport form."""

    saturation_a: float
    forward_gain: float
    """Collector over base current, of dimension one."""
    reverse_gain: float
    """Of dimension one."""
    source: str


JUNCTIONS = {
    "schottky": Junction(
        7e-8, 1.28, 4.0, "data sheet class of small Schottky diodes: at most 0.24 V at 0.1 mA, 0.32 V at 1 mA"
    ),
    "silicon": Junction(2.5e-9, 1.75, 0.6, "data sheet class of small silicon diodes: 0.72 V at 10 mA (from memory)"),
    "red_led": Junction(7.7e-18, 2.0, 10.0, "data sheet class of red AlInGaP LEDs: 1.9 V at 10 mA (from memory)"),
    "ir_led": Junction(1.2e-15, 1.6, 1.0, "data sheet class of 940 nm LEDs: 1.3 V at 20 mA, 1.35 to 1.6 V at 100 mA"),
}
TRANSISTORS = {
    "small_npn": Transistor(
        1e-14, 100, 4, "data sheet class of small NPN transistors: gain 100 or more at 10 to 100 mA"
    )
}


@dataclass(frozen=True, slots=True)
class PinLimits:
    """What a digital pin understands and bears."""

    name: str
    low_at_most_v: float
    high_at_least_v: float
    beyond_rail_v: float
    """How far the pin may be taken above its supply or below ground."""
    drive_a: float
    """The current that one pin may give or take."""
    all_pins_a: float
    """The current that all pins together may give."""
    pull_least_ohm: float
    """In ohms; of the resistor inside, at its smallest."""
    pull_most_ohm: float
    """In ohms, at its largest."""
    out_ohm: float
    """In ohms; the output's own resistance at worst."""
    source: str


# What holds for every Pi is the worse of the two kinds in the documentation. The Pi 5's pins are behind another chip
# (RP1), whose figures lie inside these (from memory).
PI = PinLimits(
    name="Raspberry Pi",
    low_at_most_v=0.8,
    high_at_least_v=2.0,
    beyond_rail_v=0.3,
    drive_a=8e-3,
    all_pins_a=50e-3,
    pull_least_ohm=33e3,
    pull_most_ohm=73e3,
    out_ohm=175.0,
    source="Raspberry Pi documentation, GPIO, Voltage specifications (BCM2711: 0.8 V, 2.0 V, 33–73 kΩ, 2.6 V at 4 mA); "
    "8 mA a pin and 50 mA for all, 0.3 V beyond the rail: common practice, from memory",
)
RP2040 = PinLimits(
    name="RP2040",
    low_at_most_v=0.8,
    high_at_least_v=2.0,
    beyond_rail_v=0.3,
    drive_a=4e-3,
    all_pins_a=50e-3,
    pull_least_ohm=50e3,
    pull_most_ohm=80e3,
    out_ohm=170.0,
    source="RP2040 data sheet, Digital IO characteristics (0.8 V, 2.62 V at 4 mA, 50–80 kΩ, 50 mA for all); "
    "2.0 V for high and 0.3 V beyond the rail from memory",
)

RECEIVER_LOW_OHM = 200.0
"""A receiver's output at low: 0.1 V at 0.5 mA. Data sheet class of 38 kHz receivers for light barriers."""
RECEIVER_SINK_A = 0.5e-3
"""Up to this its low is promised to be low (same data sheets; 5 mA is what it bears)."""
RECEIVER_LOAD_F = 2e-9
"""The capacitance that its output bears (same data sheets)."""
RECEIVER_LEAST_V = 2.5
"""Its supply at least; 5.5 at most (same data sheets)."""
RECEIVER_IRRADIANCE_MW_PER_M2 = 1.2
"""It surely answers to this, at 0.7 as a rule (same data sheets: 0.7 typical, 1.2 at most)."""
RECEIVER_CYCLES = (-5, 6)
"""A light of n cycles gives an output n + this long: its edges may lie so far apart (same data sheets)."""
COMPARATOR_LOW_OHM = 100.0
"""An open-collector comparator: 0.4 V at 4 mA (data sheet class of LM393 kind, from memory)."""
CABLE_F_PER_M = 120e-12
"""A core against all others and the shield: 80–150 pF/m for thin shielded cable (common practice, from memory)."""
STAMP_GOAL_S = 1e-4
"""What a stamp may be off by: `u_stamp_s` of a gate in logger/config.py."""
