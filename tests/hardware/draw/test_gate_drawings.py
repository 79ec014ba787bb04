"""The drawings of the beams name the pins that the tables name."""

from __future__ import annotations

import pytest

from hardware.draw import circuits
from hardware.draw.sockets import PINS, SOCKETS

pytest.importorskip("schemdraw", reason="schemdraw is not installed: pip install '.[hardware]'")

from hardware.draw.gate_drawings import HEADER, POLES, emitter, gates, laser
from hardware.draw.gate_drawings import SOCKETS as DRAWN


def test_places_on_the_header_are_those_of_its_table() -> None:
    for gpio, place in HEADER.items():
        assert PINS[place] == f"GPIO{gpio}"


def test_poles_and_sockets_are_those_of_their_table() -> None:
    by_name = {socket.goes_to: socket for socket in SOCKETS}
    for name, text in DRAWN.items():
        socket = by_name[f"{name} receiver"]
        assert text.startswith(f"{socket.name}: {socket.poles_count} poles")
        said = {net: int(pole) for net, pole in POLES.items()}
        assert socket.poles[said["GND"]] == "ground"
        assert socket.poles[said["3V3"]].startswith("3.3 V")
        assert socket.poles[said["OUT"]] == "OUT"


def test_each_says_what_matters_in_words() -> None:
    pi = gates(circuits.gates_at_pi(), circuits.GATE_PINS, "GPIO").svg()
    assert "GPIO17, header 11" in pi
    assert "GPIO27, header 13" in pi
    assert "shielded" in pi
    assert "GP2, board 4" in gates(circuits.gates_at_board(), circuits.BOARD_PINS, "GP").svg()
    assert "CMOS timer" in emitter(circuits.infrared_emitter()).svg()
    assert "IEC 60825-1" in laser(circuits.laser_gate()).svg()
