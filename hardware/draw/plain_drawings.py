"""Two drawings that are no circuits: the header with what hangs on it, and the whole rig from above."""

from __future__ import annotations

from hardware.draw.sockets import PINS, SOCKETS, uses
from logger.study.svg import path, picture, tag, words

INK, QUIET = "#111111", "#666666"
COLOURS = {"green": "#2e7d32", "blue": "#0b63a5", "black": "#333333", "red": "#b03a2e"}
FILLS = {"3.3 V": "#f6c36b", "5 V": "#ef8a7a", "ground": "#9aa0a6"}
FONT = "font-family:sans-serif"


def _text(
    x: float, y: float, text: str, *, size: float = 13, anchor: str = "start", fill: str = INK, bold: bool = False
) -> str:
    weight = ";font-weight:bold" if bold else ""
    return words(x, y, text, font_size=size, text_anchor=anchor, fill=fill, style=FONT + weight)


def header() -> str:
    """The 40-pin header as it lies beside the board's edge, with what the rig puts on each pin."""
    rows = []
    used = uses()
    for number, name in PINS.items():
        row, right = divmod(number - 1, 2)
        y, x = 74 + 25 * row, 330 if right else 296
        fill = FILLS.get(name, "#9fd39f" if number in used else "#ffffff")
        rows.append(tag("circle", cx=x, cy=y, r=11, fill=fill, stroke=INK, stroke_width=1.2))
        rows.append(_text(x, y + 4, str(number), size=10, anchor="middle"))
        edge, anchor = (x + 20, "start") if right else (x - 20, "end")
        rows.append(_text(edge, y + 4, name, size=12, anchor=anchor, fill=INK if number in used else QUIET))
        if number in used:
            far = edge + 62 if right else edge - 62
            rows.append(_text(far, y + 4, used[number], size=13, anchor=anchor, bold=True))
    frame = tag("rect", x=278, y=56, width=70, height=512, rx=6, fill="none", stroke=INK, stroke_width=1.5)
    head = _text(313, 26, "Pin 1 is at the board's corner; odd pins lie towards its middle", size=13, anchor="middle")
    foot = _text(313, 596, "White pins stay free. Switch off before you plug.", size=12, anchor="middle", fill=QUIET)
    summary = "; ".join(f"pin {number} {PINS[number]}: {what}" for number, what in sorted(used.items()))
    ground = tag("rect", x=0, y=0, width=626, height=612, fill="white")
    return picture(626, 612, ground, frame, *rows, head, foot, title="The header", summary=summary, key="header") + "\n"


def _post(x: float, y: float, name: str, *, below: bool, fill: str) -> str:
    box = tag("rect", x=x - 17, y=y - 13, width=34, height=26, rx=4, fill=fill, stroke=INK, stroke_width=1.5)
    return box + (_text(x - 26, y + 5, name, anchor="end") if below else _text(x, y - 22, name, anchor="middle"))


def _cable(points: list[tuple[float, float]], name: str, at: tuple[float, float]) -> str:
    colour = COLOURS[name.split()[1]]
    line = path(points, fill="none", stroke=colour, stroke_width=2.5, stroke_linejoin="round")
    return line + _text(*at, name, size=12, fill=colour, bold=True)


def whole_rig() -> str:
    """Everything from above: which post stands where, and which cable goes where."""
    parts = [tag("rect", x=0, y=0, width=980, height=610, fill="white")]
    parts.append(tag("rect", x=110, y=120, width=620, height=230, rx=26, fill="#d9ecf7", stroke=INK, stroke_width=2))
    parts.append(_text(420, 335, "tank, seen from above", anchor="middle", fill=QUIET))
    for x in (240, 600):
        beam = path([(x, 107), (x, 363)], fill="none", stroke="#c0392b", stroke_width=2, stroke_dasharray="7 5")
        parts.append(beam)
    for x, text in ((252, "start line"), (612, "finish line")):
        parts.append(_text(x, 300, text, fill="#c0392b"))
    parts.append(
        path([(400, 235), (370, 215), (300, 215), (300, 255), (370, 255)], closed=True, fill="#f2d16b", stroke=INK)
    )
    parts.append(
        path([(420, 235), (500, 235), (488, 227), (500, 235), (488, 243)], fill="none", stroke=INK, stroke_width=1.5)
    )
    parts.append(tag("circle", cx=420, cy=170, r=15, fill="white", stroke=INK, stroke_width=1.5))
    parts.append(tag("circle", cx=420, cy=170, r=6, fill=INK))
    for n, text in enumerate(("camera above the", "middle, on a stand of", "its own, tethered")):
        parts.append(_text(444, 160 + 16 * n, text))
    parts.append(tag("circle", cx=140, cy=145, r=6, fill="#e74c3c", stroke=INK))
    parts.append(_text(152, 150, "light"))
    parts.append(_post(240, 94, "emitter", below=False, fill="#f6c36b"))
    parts.append(_post(240, 376, "START receiver", below=True, fill="#9fd39f"))
    parts.append(_post(600, 376, "emitter", below=True, fill="#f6c36b"))
    parts.append(_post(600, 94, "FINISH receiver", below=False, fill="#8fbce6"))
    parts += _box_and_cables()
    note = "The two emitters stand on opposite sides, so that neither lights the other gate's receiver."
    parts.append(_text(110, 592, note, fill=QUIET))
    summary = "Tank with two beams across; each beam has an emitter post and a receiver post. " + "; ".join(
        f"{s.name}, {s.poles_count} poles, {s.colour}: {s.goes_to}" for s in SOCKETS
    )
    return picture(980, 610, *parts, title="The whole rig from above", summary=summary, key="rig") + "\n"


def _box_and_cables() -> list[str]:
    parts = [tag("rect", x=420, y=490, width=330, height=72, rx=6, fill="#eeeeee", stroke=INK, stroke_width=2)]
    parts.append(_text(585, 545, "box: Pi, inputs, buttons, lamp", anchor="middle", bold=True))
    for n, socket in enumerate(SOCKETS):
        x = 450 + 66 * n
        parts.append(tag("circle", cx=x, cy=508, r=11, fill="white", stroke=INK, stroke_width=1.5))
        parts.append(_text(x, 512, f"{socket.poles_count}", size=11, anchor="middle"))
    parts.append(_cable([(240, 389), (240, 440), (450, 440), (450, 497)], "J1 green", (250, 432)))
    parts.append(_cable([(617, 94), (800, 94), (800, 470), (516, 470), (516, 497)], "J2 blue", (716, 462)))
    parts.append(_cable([(223, 94), (60, 94), (60, 456), (582, 456), (582, 497)], "J3 black", (70, 448)))
    parts.append(_cable([(600, 389), (600, 424), (648, 424), (648, 497)], "J4 black", (656, 440)))
    parts.append(
        _cable([(134, 145), (84, 145), (84, 400), (150, 400), (150, 482), (714, 482), (714, 497)], "J5 red", (160, 476))
    )
    parts.append(path([(750, 526), (850, 526)], fill="none", stroke=INK, stroke_width=2.5))
    parts.append(tag("rect", x=850, y=500, width=110, height=52, rx=6, fill="#eeeeee", stroke=INK, stroke_width=2))
    parts.append(_text(905, 523, "battery or 5 V", anchor="middle", size=12))
    parts.append(_text(905, 540, "supply, dry, high", anchor="middle", size=12))
    parts.append(_text(812, 250, "every cable hangs"))
    parts.append(_text(812, 267, "in a loop below its"))
    parts.append(_text(812, 284, "socket: drops fall off"))
    return parts
