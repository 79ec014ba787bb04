"""The rig's circuits: what is drawn in hardware/drawings and what the electrical check works on.

One box at the computer, posts at the water. The box has the same input for either kind of beam, so infrared and laser
posts take the same socket; both say *high while the beam is broken* (`blocked_is = "high"`), and so does a cable that
has come off or is cut: most faults look like a broken beam, which refuses to arm.
"""

from __future__ import annotations

from collections.abc import Iterator

from hardware.draw.behaviour import CABLE_F_PER_M
from hardware.draw.circuit import Circuit, Part, joined, two

GATE_PINS = {"START": 17, "FINISH": 27}
"""Gate -> GPIO, as in the example of rig_file.md."""
BUTTON_PINS = {"ARM": 5, "GO": 6, "VOID": 13}
LAMP_PIN, BUZZER_PIN, LIGHT_PIN = 19, 26, 22
BOARD_PINS = {"START": 2, "FINISH": 3}
"""Gate -> GP of an RP2040 board, as in its firmware."""
CABLE_M = 5.0
"""The longest cable between box and post."""


def farads(value_f: float) -> str:
    """A capacitance as printed."""
    return f"{value_f * 1e9:g} nF"


def feed(first: int, name: str) -> Iterator[Part]:
    """The box's supply of a post: short the cable, and no more than 40 mA flow."""
    yield two(f"R{first}", "resistor", "3V3", f"{name} 3V3", value="100 Ω", words="0.25 W")


def gate_input(first: int, name: str, pin: str) -> Iterator[Part]:
    """From the socket to the pin: pull-up, resistor, clamp, resistor, a little capacitance."""
    wire, clamped, end = f"{name} OUT", f"{name} clamped", f"{name} pin"
    yield from feed(first, name)
    yield two(f"R{first + 1}", "resistor", "3V3", wire, value="10 kΩ")
    yield two(f"R{first + 2}", "resistor", wire, clamped, value="1 kΩ")
    yield two(f"D{first}", "diode", clamped, "3V3", model="schottky", words="small Schottky diode, 30 V, 0.2 A")
    yield two(f"D{first + 1}", "diode", "GND", clamped, model="schottky", words="small Schottky diode, 30 V, 0.2 A")
    yield two(f"R{first + 3}", "resistor", clamped, end, value="1 kΩ")
    yield two(f"C{first}", "capacitor", end, "GND", value="1 nF", words="ceramic, C0G or X7R")
    yield Part(pin, "pin", {"io": end}, "input; pull-up inside switched on")
    cable = farads(CABLE_F_PER_M * CABLE_M)
    yield Part(f"cable {name}", "capacitor", {"a": wire, "b": "GND"}, value=cable, drawn=False)


def receiver_post(ref: str, name: str) -> Iterator[Part]:
    """At the water: a 38 kHz receiver for light barriers."""
    pins = {"vs": f"{name} 3V3", "gnd": "GND", "out": f"{name} OUT"}
    yield Part(ref, "open_collector", pins, "38 kHz receiver for light barriers", "33 kΩ", "ir_receiver")
    yield two(f"{ref} supply", "load", f"{name} 3V3", "GND", value="3.3 kΩ", words="1 mA")
    yield two(f"C{ref[1:]}", "capacitor", f"{name} 3V3", "GND", value="100 nF", words="ceramic, at its legs")


def without_supply(parts: Iterator[Part]) -> Iterator[Part]:
    """What a part takes for itself is reckoned with, but not drawn."""
    for part in parts:
        yield (
            part
            if not part.ref.endswith(" supply")
            else Part(part.ref, part.kind, part.pins, part.words, part.value, drawn=False)
        )


def gates_at_pi() -> Circuit:
    """Both beams at the Pi's pins, infrared posts."""
    return joined(
        "gates_at_pi",
        "Gates at the Pi",
        *(
            without_supply(row)
            for n, (name, pin) in enumerate(GATE_PINS.items(), 1)
            for row in (receiver_post(f"U{n}", name), gate_input(10 * n, name, f"GPIO{pin}"))
        ),
    )


def gates_at_board() -> Circuit:
    """Both beams at an RP2040 board, the same posts and the same inputs."""
    return joined(
        "gates_at_board",
        "Gates at a serial board",
        *(
            without_supply(row)
            for n, (name, pin) in enumerate(BOARD_PINS.items(), 1)
            for row in (receiver_post(f"U{n}", name), gate_input(10 * n, name, f"GP{pin}"))
        ),
    )


def infrared_emitter() -> Circuit:
    """One per gate, both alike: a CMOS timer at 38 kHz, a transistor, an LED."""
    return joined(
        "infrared_emitter",
        "Infrared emitter post",
        (
            two("R30", "resistor", "5V", "DIS", value="1 kΩ"),
            two("R31", "resistor", "DIS", "R31-P31", value="16 kΩ", words="1 %"),
            two("P31", "resistor", "R31-P31", "TIMING", value="2.5 kΩ", words="trimmer 5 kΩ, 10 turns", printed="5 kΩ"),
            two("C31", "capacitor", "TIMING", "GND", value="1 nF", words="C0G, 5 %"),
            two("C32", "capacitor", "5V", "GND", value="100 nF", words="ceramic, at the timer"),
            two("C33", "capacitor", "5V", "GND", value="47 µF", words="10 V"),
            Part(
                "U3", "block",
                {"Vcc": "5V", "GND": "GND", "RST": "5V", "DIS": "DIS", "THR": "TIMING", "TRG": "TIMING", "OUT": "OUT"},
                "CMOS timer of the 7555 kind",
            ),
            two("R32", "resistor", "OUT", "BASE", value="2.2 kΩ"),
            Part("Q3", "npn", {"b": "BASE", "c": "COLLECTOR", "e": "GND"}, "small NPN transistor", model="small_npn"),
            two("D30", "diode", "5V", "LED-R33", model="ir_led", words="940 nm LED, half angle 15 to 25 degrees"),
            two("R33", "resistor", "LED-R33", "COLLECTOR", value="150 Ω", words="sets the light: 68 Ω at least"),
        ),
    )  # fmt: skip


def laser_gate() -> Circuit:
    """The other source of light: a class 1 or 2 module, and a phototransistor with a comparator, for one gate."""
    return joined(
        "laser_gate",
        "Laser posts",
        (
            two("R40", "resistor", "5V", "LASER +", value="10 Ω", words="keeps the module's start-up current small"),
            two("M4", "load", "LASER +", "GND", value="170 Ω", printed="laser module",
                words="laser module, red, class 1 or 2, 5 V, 30 mA at most"),
            Part("Q4", "block", {"c": "START 3V3", "e": "LIGHT"}, "phototransistor behind a red filter, in a tube"),
            two("R41", "resistor", "LIGHT", "GND", value="4.7 kΩ"),
            two("R42", "resistor", "START 3V3", "THRESHOLD", value="10 kΩ"),
            two("P43", "resistor", "THRESHOLD", "GND", value="5 kΩ", words="trimmer 10 kΩ", printed="10 kΩ"),
            Part(
                "U4", "open_collector",
                {"vs": "START 3V3", "gnd": "GND", "in-": "LIGHT", "in+": "THRESHOLD", "out": "START OUT"},
                "comparator, open collector, 2 to 5 V, of the LM393 kind", "", "comparator",
            ),
            Part("U4 supply", "load", {"a": "START 3V3", "b": "GND"}, "1 mA", "3.3 kΩ", drawn=False),
            two("C4", "capacitor", "START 3V3", "GND", value="100 nF", words="ceramic, at its legs"),
        ),
    )  # fmt: skip


def button(first: int, name: str, pin: int) -> Iterator[Part]:
    """A button to ground: pull-up, resistor, a little capacitance against sparks from fingers."""
    wire, end = f"{name} wire", f"{name} pin"
    yield two(f"S{first}", "switch", wire, "GND", words=f"button {name}")
    yield two(f"R{first}", "resistor", "3V3", wire, value="10 kΩ")
    yield two(f"R{first + 1}", "resistor", wire, end, value="1 kΩ")
    yield two(f"C{first}", "capacitor", end, "GND", value="10 nF")
    yield Part(f"GPIO{pin}", "pin", {"io": end}, "input; pull-up inside switched on")


def driver(first: int, name: str, pin: int, load: Part) -> Iterator[Part]:
    """A transistor for what takes more than a pin gives; the resistor to ground keeps it off while the Pi starts."""
    end, base, collector = f"{name} pin", f"{name} base", f"{name} collector"
    yield Part(f"GPIO{pin}", "pin", {"io": end}, "output")
    yield two(f"R{first}", "resistor", end, base, value="1 kΩ")
    yield two(f"R{first + 1}", "resistor", base, "GND", value="10 kΩ")
    pins = {"b": base, "c": collector, "e": "GND"}
    yield Part(f"Q{first}", "npn", pins, "small NPN transistor, 0.5 A", model="small_npn")
    yield load


def panel() -> Circuit:
    """Buttons, lamp, buzzer, and the light for the camera's delay."""
    buttons = [part for n, (name, pin) in enumerate(BUTTON_PINS.items()) for part in button(50 + 2 * n, name, pin)]
    lamp = two(
        "H60",
        "load",
        "5V",
        "LAMP collector",
        value="220 Ω",
        words="LED lamp for 5 V, 25 mA at most",
        printed="LED lamp",
    )
    buzzer = two(
        "B62",
        "load",
        "5V",
        "BUZZER collector",
        value="170 Ω",
        words="active buzzer for 5 V, 30 mA at most",
        printed="buzzer",
    )
    back = two("D62", "diode", "BUZZER collector", "5V", model="silicon", words="small silicon diode")
    light = (
        Part(f"GPIO{LIGHT_PIN}", "pin", {"io": "LIGHT pin"}, "output"),
        two("R64", "resistor", "LIGHT pin", "LIGHT +", value="470 Ω"),
        two("D64", "diode", "LIGHT +", "GND", model="red_led", words="red LED, 1 cd or brighter, diffuse"),
    )
    return joined(
        "panel",
        "Buttons, lamp, buzzer, light",
        buttons,
        driver(60, "LAMP", LAMP_PIN, lamp),
        driver(62, "BUZZER", BUZZER_PIN, buzzer),
        (back,),
        light,
    )


def every_circuit() -> tuple[Circuit, ...]:
    """All of them, in the order of wiring.md."""
    return (gates_at_pi(), infrared_emitter(), laser_gate(), panel(), gates_at_board())
