"""Header and whole rig say what the tables say."""

from __future__ import annotations

import xml.etree.ElementTree as ET

from hardware.draw.plain_drawings import header, whole_rig
from hardware.draw.sockets import PINS, SOCKETS, uses

SVG = "{http://www.w3.org/2000/svg}"


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in ET.fromstring(svg).iter(f"{SVG}text")]


def test_the_header_shows_every_pin_and_every_use() -> None:
    shown = texts(header())
    assert [int(t) for t in shown if t.isdigit()] == list(PINS)
    for what in uses().values():
        assert what in shown


def test_the_whole_rig_shows_every_socket_with_its_poles_and_colour() -> None:
    shown = texts(whole_rig())
    assert [int(t) for t in shown if t.isdigit()] == [s.poles_count for s in SOCKETS]
    for socket in SOCKETS:
        assert f"{socket.name} {socket.colour}" in shown


def test_all_words_lie_on_the_sheet() -> None:
    for svg in (header(), whole_rig()):
        root = ET.fromstring(svg)
        _, _, width, height = (float(n) for n in root.attrib["viewBox"].split())
        for element in root.iter(f"{SVG}text"):
            x, y, size = (float(element.attrib[name]) for name in ("x", "y", "font-size"))
            wide = 0.56 * size * len(element.text or "")  # a sans-serif's mean width, from memory
            left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[element.attrib["text-anchor"]]
            assert left >= 0, element.text
            assert left + wide <= width, element.text
            assert size <= y <= height, element.text
