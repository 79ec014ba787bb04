"""The drawings of the beams: posts at the water, cables, and the box's inputs."""

from __future__ import annotations

from collections.abc import Mapping

from schemdraw import elements as elm

from hardware.draw import circuits
from hardware.draw.circuit import Circuit
from hardware.draw.sheet import QUIET, WATER, Sheet

HEADER = {2: 3, 3: 5, 5: 29, 6: 31, 13: 33, 17: 11, 19: 35, 22: 15, 26: 37, 27: 13}
"""GPIO -> place on the header (Raspberry Pi documentation, GPIO and the 40-pin header)."""
BOARD = {2: 4, 3: 5}
"""GP -> place on the usual board of 40 pins with an RP2040 (its data sheet)."""
SOCKETS = {"START": "J1: 3 poles", "FINISH": "J2: 4 poles, 4 is free"}
POLES = {"3V3": "2", "GND": "1", "OUT": "3"}


def gates(circuit: Circuit, pins: Mapping[str, int], prefix: str) -> Sheet:
    """Both gates, from the post at the water to the pin."""
    sheet = Sheet(circuit)
    pitch = 8.0
    low = -pitch * (len(pins) - 1) - 4.6
    sheet.frame((-0.8, low), (5.3, 3.6), "posts at the water", colour=WATER)
    owner = "box at the Pi, away from the water" if prefix == "GPIO" else "box at the board, away from the water"
    sheet.frame((9.0, low), (26.0, 3.6), owner)
    for n, (name, pin) in enumerate(pins.items(), 1):
        y = -pitch * (n - 1)
        _receiver(sheet, f"U{n}", name, y)
        sheet.cable((5.9, y - 2.3), (8.3, y + 2.3))
        sheet.words((5.7, y + 2.6), f"≤ {circuits.CABLE_M:g} m, shielded", size=9, colour=WATER)
        where = f"header {HEADER[pin]}" if prefix == "GPIO" else f"board {BOARD[pin]}"
        _input(sheet, 10 * n, f"{prefix}{pin}", where, y)
        sheet.words((9.2, y + 2.9), SOCKETS[name], size=9, colour=QUIET)
    return sheet


def _receiver(sheet: Sheet, ref: str, name: str, y: float) -> None:
    ends = {"vs": y + 1.8, "gnd": y, "out": y - 1.8}
    at = sheet.block(ref, (0, y - 2.5), (2.4, 5.0), {name: ("right", level) for name, level in ends.items()})
    sheet.words((0.2, y + 0.9), f"{ref}\n38 kHz\nreceiver")
    for terminal, level in ends.items():
        sheet.wire(at[terminal], (9.6 if terminal != "out" else 14.2, level))
    sheet.two(f"C{ref[1:]}", elm.Capacitor(), (3.6, ends["vs"]), (3.6, ends["gnd"]), at="bottom")
    sheet.dot((3.6, ends["vs"]), (3.6, ends["gnd"]))
    for net, level in zip(("3V3", "GND", "OUT"), ends.values(), strict=True):
        sheet.pole((9.0, level), POLES[net])
    sheet.words((-0.6, y + 2.9), f"{name} receiver")


def _input(sheet: Sheet, first: int, pin: str, where: str, y: float) -> None:
    line = y - 1.8
    sheet.two(f"R{first}", elm.ResistorIEC(), (12.0, y + 1.8), (9.6, y + 1.8))
    sheet.wire((12.0, y + 1.8), (12.4, y + 1.8))
    sheet.rail("3V3", (12.4, y + 1.8))
    sheet.rail("GND", (9.6, y))
    sheet.two(f"R{first + 1}", elm.ResistorIEC(), (13.4, line + 2.2), (13.4, line), at="bottom")
    sheet.rail("3V3", (13.4, line + 2.2))
    sheet.two(f"R{first + 2}", elm.ResistorIEC(), (14.2, line), (16.4, line), at="bottom")
    sheet.wire((16.4, line), (18.2, line))
    sheet.two(f"D{first}", elm.Schottky(), (17.0, line), (17.0, line + 2.0), at="bottom")
    sheet.rail("3V3", (17.0, line + 2.0))
    sheet.two(f"D{first + 1}", elm.Schottky(), (17.0, line - 2.0), (17.0, line), at="bottom")
    sheet.rail("GND", (17.0, line - 2.0))
    sheet.two(f"R{first + 3}", elm.ResistorIEC(), (18.2, line), (20.4, line), at="bottom")
    sheet.wire((20.4, line), (21.6, line))
    sheet.two(f"C{first}", elm.Capacitor(), (21.0, line), (21.0, line - 2.0), at="bottom")
    sheet.rail("GND", (21.0, line - 2.0))
    sheet.pin(pin, (21.6, line), where)
    sheet.dot((13.4, line), (17.0, line), (21.0, line))


def emitter(circuit: Circuit) -> Sheet:
    """The infrared emitter's post."""
    sheet = Sheet(circuit)
    sheet.frame((-1.2, -3.2), (20.6, 8.6), "emitter post at the water, one a gate, both alike", colour=WATER)
    for ref, element, top in (("R30", elm.ResistorIEC(), 7.4), ("R31", elm.ResistorIEC(), 5.2)):
        sheet.two(ref, element, (2.4, top), (2.4, top - 2.2))
    sheet.two("P31", elm.ResistorVarIEC(), (2.4, 3.0), (2.4, 0.8))
    sheet.two("C31", elm.Capacitor(), (2.4, 0.8), (2.4, -1.4))
    sheet.rail("5V", (2.4, 7.4))
    sheet.rail("GND", (2.4, -1.4))
    pins = {"DIS": ("left", 5.2), "THR": ("left", 0.8), "TRG": ("left", 0.0), "OUT": ("right", 2.7)}
    pins |= {"RST": ("top", 6.0), "Vcc": ("top", 7.0), "GND": ("bottom", 6.5)}
    at = sheet.block("U3", (5.0, -0.8), (3.0, 7.0), pins)
    sheet.words((5.2, 3.6), "U3\nCMOS timer\n38 kHz")
    sheet.wire((2.4, 5.2), at["DIS"])
    sheet.wire((2.4, 0.8), at["THR"])
    sheet.wire((3.6, 0.8), (3.6, at["TRG"][1]), at["TRG"])
    sheet.dot((2.4, 5.2), (2.4, 0.8), (3.6, 0.8))
    for name in ("RST", "Vcc"):
        sheet.wire(at[name], (at[name][0], 7.4))
        sheet.rail("5V", (at[name][0], 7.4))
    sheet.rail("GND", at["GND"])
    _emitter_output(sheet, at["OUT"])
    _emitter_supply(sheet)
    return sheet


def _emitter_output(sheet: Sheet, out: tuple[float, float]) -> None:
    x, y = out
    sheet.two("R32", elm.ResistorIEC(), out, (x + 2.2, y))
    at = sheet.npn("Q3", (x + 2.2, y))
    c, e = at["c"], at["e"]
    sheet.two("R33", elm.ResistorIEC(), (c[0], c[1] + 2.0), c, at="bottom")
    sheet.two("D30", elm.LED(), (c[0], c[1] + 3.8), (c[0], c[1] + 2.0), at="bottom")
    sheet.words((c[0] + 0.9, c[1] + 2.5), "940 nm", size=9)
    sheet.rail("5V", (c[0], c[1] + 3.8))
    sheet.wire(e, (e[0], e[1] - 0.6))
    sheet.rail("GND", (e[0], e[1] - 0.6))


def _emitter_supply(sheet: Sheet) -> None:
    top, bottom = 4.0, 1.6
    sheet.wire((14.4, top), (21.6, top))
    sheet.wire((14.4, bottom), (21.6, bottom))
    sheet.two("C32", elm.Capacitor(), (15.2, top), (15.2, bottom), at="bottom")
    sheet.two("C33", elm.Capacitor2(polar=True), (17.6, top), (17.6, bottom), at="bottom")
    sheet.dot((15.2, top), (15.2, bottom), (17.6, top), (17.6, bottom))
    sheet.rail("5V", (14.4, top))
    sheet.rail("GND", (14.4, bottom))
    sheet.pole((20.6, top), "2")
    sheet.pole((20.6, bottom), "1")
    sheet.words((21.6, top), "5 V from the box's fuse")
    sheet.words((21.6, bottom), "ground")
    sheet.words((17.6, 0.8), "J3, J4: 2 poles", size=9, colour=QUIET)


def laser(circuit: Circuit) -> Sheet:
    """The laser's post and the receiver's post opposite, for one gate."""
    sheet = Sheet(circuit)
    sheet.frame((-2.6, -4.4), (3.4, 5.6), "laser post", colour=WATER)
    sheet.two("R40", elm.ResistorIEC(), (0, 4.0), (0, 1.8))
    sheet.two("M4", elm.RBox(), (0, 1.8), (0, -1.2))
    sheet.words((0.5, 0.3), "red, class 1 or 2\n(IEC 60825-1),\n5 V", size=9)
    sheet.rail("5V", (0, 4.0))
    sheet.rail("GND", (0, -1.2))
    sheet.words((-2.4, -2.6), "in place of the infrared\nemitter: J3 or J4,\n1 ground, 2 +5 V", size=9, colour=QUIET)
    sheet.frame((5.2, -4.4), (19.0, 5.6), "receiver post, in place of the infrared one", colour=WATER)
    top, bottom = 4.0, -3.0
    q = sheet.phototransistor("Q4", (7.0, 1.4))
    sheet.wire(q["c"], (q["c"][0], top))
    sheet.wire((q["c"][0], top), (20.0, top))
    light = (q["e"][0], 0.1)
    sheet.wire(q["e"], light)
    sheet.two("R41", elm.ResistorIEC(), light, (light[0], bottom + 0.6))
    sheet.wire((light[0], bottom + 0.6), (light[0], bottom), (20.0, bottom))
    sheet.two("R42", elm.ResistorIEC(), (10.4, top), (10.4, 1.8), at="bottom")
    sheet.wire((10.4, 1.8), (10.4, -0.6))
    sheet.two("P43", elm.ResistorVarIEC(), (10.4, -0.6), (10.4, bottom), at="bottom")
    _comparator(sheet, light, top, bottom)
    return sheet


def _comparator(sheet: Sheet, light: tuple[float, float], top: float, bottom: float) -> None:
    pins = {
        "in+": ("left", 1.5),
        "in-": ("left", 0.1),
        "out": ("right", 0.8),
        "vs": ("top", 13.9),
        "gnd": ("bottom", 13.9),
    }
    at = sheet.block("U4", (12.6, -0.8), (2.6, 3.2), pins)
    sheet.words((13.6, 0.8), "U4")
    sheet.wire((10.4, at["in+"][1]), at["in+"])
    sheet.wire(light, at["in-"])
    sheet.wire(at["vs"], (at["vs"][0], top))
    sheet.wire(at["gnd"], (at["gnd"][0], bottom))
    sheet.wire(at["out"], (20.0, at["out"][1]))
    sheet.two("C4", elm.Capacitor(), (16.8, top), (16.8, top - 2.0), at="bottom")
    sheet.rail("GND", (16.8, top - 2.0))
    sheet.wire((light[0], bottom), (light[0], bottom - 0.4))
    sheet.rail("GND", (light[0], bottom - 0.4))
    sheet.dot((10.4, top), (at["vs"][0], top), (16.8, top), (10.4, bottom), (at["gnd"][0], bottom), (light[0], bottom))
    sheet.dot((10.4, at["in+"][1]), (light[0], at["in-"][1]))
    for level, number, words in ((top, "2", "3.3 V"), (at["out"][1], "3", "OUT"), (bottom, "1", "ground")):
        sheet.pole((19.0, level), number)
        sheet.words((20.0, level), f"{words}, to J1 in the box")
