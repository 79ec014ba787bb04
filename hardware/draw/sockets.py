"""The box's sockets and the header's pins: what goes where, as tables that drawings, texts and tests share.

No two sockets that must not be swapped have the same number of poles, so nothing can be plugged in wrongly. The two
emitters are alike and take either of their sockets.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from hardware.draw import circuits

PINS: Mapping[int, str] = {
    1: "3.3 V", 2: "5 V", 3: "GPIO2", 4: "5 V", 5: "GPIO3", 6: "ground", 7: "GPIO4", 8: "GPIO14", 9: "ground",
    10: "GPIO15", 11: "GPIO17", 12: "GPIO18", 13: "GPIO27", 14: "ground", 15: "GPIO22", 16: "GPIO23",
    17: "3.3 V", 18: "GPIO24", 19: "GPIO10", 20: "ground", 21: "GPIO9", 22: "GPIO25", 23: "GPIO11",
    24: "GPIO8", 25: "ground", 26: "GPIO7", 27: "GPIO0", 28: "GPIO1", 29: "GPIO5", 30: "ground", 31: "GPIO6",
    32: "GPIO12", 33: "GPIO13", 34: "ground", 35: "GPIO19", 36: "GPIO16", 37: "GPIO26", 38: "GPIO20",
    39: "ground", 40: "GPIO21",
}  # fmt: skip
"""The 40-pin header (Raspberry Pi documentation, GPIO and the 40-pin header)."""
SUPPLIES: Mapping[int, str] = {1: "3.3 V of the box", 2: "5 V of the box, by the fuse", 6: "ground of the box"}


@dataclass(frozen=True, slots=True)
class Socket:
    """One socket of the box: a round one with a locking ring, of 12 mm thread."""

    name: str
    poles_count: int
    colour: str
    goes_to: str
    poles: Mapping[int, str]
    """Pole -> what is on it."""
    cable: str


_RECEIVER = {1: "ground", 2: "3.3 V by 100 Ω", 3: "OUT"}
_EMITTER = {1: "ground", 2: "5 V by the fuse"}
_LIGHT = {1: "LED +", 2: "ground", 3: "free", 4: "free", 5: "free"}
_SHIELDED = "3 × 0.25 mm², shielded, 5 m at most; shield to ground at the box only"

SOCKETS = (
    Socket("J1", 3, "green", "START receiver", _RECEIVER, _SHIELDED),
    Socket("J2", 4, "blue", "FINISH receiver", _RECEIVER | {4: "free"}, _SHIELDED),
    Socket("J3", 2, "black", "emitter", _EMITTER, "2 × 0.5 mm², 5 m at most"),
    Socket("J4", 2, "black", "emitter", _EMITTER, "2 × 0.5 mm², 5 m at most"),
    Socket("J5", 5, "red", "light for the camera", _LIGHT, "2 × 0.25 mm², 5 m at most"),
)  # fmt: skip


def uses() -> Mapping[int, str]:
    """Header pin -> what the rig puts on it."""
    place = {name: number for number, name in PINS.items()}
    found = {place[f"GPIO{pin}"]: f"{gate} beam" for gate, pin in circuits.GATE_PINS.items()}
    found |= {place[f"GPIO{pin}"]: f"button {name}" for name, pin in circuits.BUTTON_PINS.items()}
    found |= {
        place[f"GPIO{circuits.LAMP_PIN}"]: "lamp",
        place[f"GPIO{circuits.BUZZER_PIN}"]: "buzzer",
        place[f"GPIO{circuits.LIGHT_PIN}"]: "light for the camera",
    }
    return found | dict(SUPPLIES)
