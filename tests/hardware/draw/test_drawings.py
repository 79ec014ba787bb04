"""The drawings are the circuits."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from hardware.draw import circuits

pytest.importorskip("schemdraw", reason="schemdraw is not installed: pip install '.[hardware]'")

from hardware.draw.drawings import DRAWERS, every_drawing
from hardware.draw.sheet import Sheet

CIRCUITS = circuits.every_circuit()


def of_circuit(circuit: circuits.Circuit) -> frozenset[frozenset[tuple[str, str]]]:
    rails = {"GND", "3V3", "5V"}
    return frozenset(
        terminals | ({("rail", net)} if net in rails else frozenset()) for net, terminals in circuit.nets().items()
    )


@pytest.mark.parametrize("circuit", CIRCUITS, ids=lambda c: c.name)
def test_the_lines_of_a_drawing_join_what_the_circuit_joins(circuit: circuits.Circuit) -> None:
    assert DRAWERS[circuit.name](circuit).nets() == of_circuit(circuit)


def test_a_wire_too_many_is_found() -> None:
    circuit = circuits.panel()
    sheet: Sheet = DRAWERS["panel"](circuit)
    sheet.wire((4.9, 0), (4.9, -5.6))  # ARM's pin to GO's pin
    assert sheet.nets() != of_circuit(circuit)


def test_every_drawing_is_a_picture_with_a_title() -> None:
    drawings = every_drawing()
    assert set(drawings) == {f"{c.name}.svg" for c in CIRCUITS} | {"header.svg", "whole_rig.svg"}
    for svg in drawings.values():
        title = ET.fromstring(svg).find("{http://www.w3.org/2000/svg}title")
        assert title is not None
        assert title.text
