"""Every drawing by its file's name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from hardware.draw import circuits
from hardware.draw.circuit import Circuit
from hardware.draw.gate_drawings import emitter, gates, laser
from hardware.draw.panel_drawing import panel
from hardware.draw.plain_drawings import header, whole_rig
from hardware.draw.sheet import Sheet

DRAWERS: Mapping[str, Callable[[Circuit], Sheet]] = {
    "gates_at_pi": lambda circuit: gates(circuit, circuits.GATE_PINS, "GPIO"),
    "gates_at_board": lambda circuit: gates(circuit, circuits.BOARD_PINS, "GP"),
    "infrared_emitter": emitter,
    "laser_gate": laser,
    "panel": panel,
}
"""Circuit -> its drawing."""


def every_drawing() -> Mapping[str, str]:
    """File name -> SVG."""
    drawn = {f"{circuit.name}.svg": DRAWERS[circuit.name](circuit).svg() for circuit in circuits.every_circuit()}
    return drawn | {"header.svg": header(), "whole_rig.svg": whole_rig()}
