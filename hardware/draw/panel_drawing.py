"""The drawing of buttons, lamp, buzzer and light."""

from __future__ import annotations

from schemdraw import elements as elm

from hardware.draw import circuits
from hardware.draw.circuit import Circuit
from hardware.draw.gate_drawings import HEADER
from hardware.draw.sheet import QUIET, Sheet


def panel(circuit: Circuit) -> Sheet:
    """Everything that stands in the box's lid."""
    sheet = Sheet(circuit)
    for n, (name, pin) in enumerate(circuits.BUTTON_PINS.items()):
        _button(sheet, 50 + 2 * n, (name, pin), -5.6 * n)
    _driver(sheet, 60, circuits.LAMP_PIN, 0.0)
    _driver(sheet, 62, circuits.BUZZER_PIN, -7.0)
    _light(sheet, -11.4)
    return sheet


def _button(sheet: Sheet, first: int, named: tuple[str, int], y: float) -> None:
    name, pin = named
    sheet.two(f"S{first}", elm.Button(), (0, y), (0, y - 2.0), at="top")
    sheet.words((-1.7, y + 0.4), name, size=13)
    sheet.rail("GND", (0, y - 2.0))
    sheet.wire((0, y), (2.0, y))
    sheet.two(f"R{first}", elm.ResistorIEC(), (1.4, y + 2.0), (1.4, y), at="bottom")
    sheet.rail("3V3", (1.4, y + 2.0))
    sheet.two(f"R{first + 1}", elm.ResistorIEC(), (2.0, y), (4.2, y), at="bottom")
    sheet.wire((4.2, y), (5.6, y))
    sheet.two(f"C{first}", elm.Capacitor(), (4.9, y), (4.9, y - 2.0), at="bottom")
    sheet.rail("GND", (4.9, y - 2.0))
    sheet.pin(f"GPIO{pin}", (5.6, y), f"header {HEADER[pin]}")
    sheet.dot((1.4, y), (4.9, y))


def _driver(sheet: Sheet, first: int, pin: int, y: float) -> None:
    x = 17.0
    sheet.pin(f"GPIO{pin}", (x, y), f"header {HEADER[pin]}", leftwards=True)
    sheet.two(f"R{first}", elm.ResistorIEC(), (x, y), (x + 2.4, y))
    sheet.wire((x + 2.4, y), (x + 3.6, y))
    sheet.two(f"R{first + 1}", elm.ResistorIEC(), (x + 3.0, y), (x + 3.0, y - 2.0), at="bottom")
    sheet.rail("GND", (x + 3.0, y - 2.0))
    sheet.dot((x + 3.0, y))
    at = sheet.npn(f"Q{first}", (x + 3.6, y))
    c, e = at["c"], at["e"]
    sheet.wire(e, (e[0], y - 2.0))
    sheet.rail("GND", (e[0], y - 2.0))
    top = c[1] + 2.2
    if first == 60:
        sheet.two("H60", elm.Lamp2(), (c[0], top), c, at="bottom")
        sheet.rail("5V", (c[0], top))
        return
    sheet.two("B62", elm.RBox(), (c[0], top), c)
    sheet.wire(c, (c[0] + 1.6, c[1]))
    sheet.two("D62", elm.Diode(), (c[0] + 1.6, c[1]), (c[0] + 1.6, top), at="bottom")
    sheet.wire((c[0], top), (c[0] + 1.6, top))
    sheet.rail("5V", (c[0], top))
    sheet.dot(c, (c[0], top))


def _light(sheet: Sheet, y: float) -> None:
    x, pin = 17.0, circuits.LIGHT_PIN
    sheet.pin(f"GPIO{pin}", (x, y), f"header {HEADER[pin]}", leftwards=True)
    sheet.two("R64", elm.ResistorIEC(), (x, y), (x + 2.4, y))
    sheet.wire((x + 2.4, y), (x + 6.2, y))
    sheet.two("D64", elm.LED(), (x + 6.2, y), (x + 6.2, y - 2.0), at="bottom")
    sheet.wire((x + 6.2, y - 2.0), (x + 2.4, y - 2.0), (x + 2.4, y - 2.3))
    sheet.rail("GND", (x + 2.4, y - 2.3))
    sheet.pole((x + 3.4, y), "1")
    sheet.pole((x + 3.4, y - 2.0), "2")
    sheet.words((x + 2.9, y - 1.0), "J5: 5 poles", size=9, colour=QUIET)
    sheet.words((x + 7.8, y + 0.1), "in the picture, not in\nthe water; cable ≤ 5 m", size=9)
