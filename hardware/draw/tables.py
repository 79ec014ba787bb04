"""The tables of wiring.md and mechanics.md."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from hardware.draw.checks import Check, every_check
from hardware.draw.circuit import Circuit, Part
from hardware.draw.circuits import every_circuit
from hardware.draw.markdown import table
from hardware.draw.mounts import MOUNTS
from hardware.draw.shapes import size_mm
from hardware.draw.sockets import SOCKETS, uses

PLASTIC_G_PER_CM3 = 1.27
FILLED = 0.55
"""Share of plastic in a small print with three walls and a quarter filled (from memory)."""


def wiring_blocks() -> Mapping[str, str]:
    """The blocks of wiring.md."""
    blocks = {"sockets": sockets(), "header": header(), "checks": checks(every_check())}
    return blocks | {f"parts of {circuit.name}": parts(circuit) for circuit in every_circuit()}


def sockets() -> str:
    """What is on which pole of which socket."""
    rows = []
    for socket in SOCKETS:
        poles = ", ".join(f"{n} {what}" for n, what in socket.poles.items())
        rows.append([socket.name, str(socket.poles_count), socket.colour, socket.goes_to, poles, socket.cable])
    return table(["socket", "poles", "colour", "goes to", "on its poles", "cable"], rows)


def header() -> str:
    """What is on which pin of the header."""
    return table(["header pin", "what"], ([str(n), what] for n, what in sorted(uses().items())))


def parts(circuit: Circuit) -> str:
    """What to buy for one drawing, equal things together."""
    found: dict[tuple[str, str], list[str]] = {}
    for part in circuit.parts:
        if part.drawn and part.kind != "pin":
            found.setdefault(_bought(part), []).append(part.ref)
    rows = [[f"{len(refs)} ×", what, words, ", ".join(refs)] for (what, words), refs in found.items()]
    return table(["", "what", "which", "in the drawing"], rows)


def _bought(part: Part) -> tuple[str, str]:
    kinds = {"resistor": "resistor", "capacitor": "capacitor", "switch": "push button"}
    if part.ref.startswith("P"):
        return "trimmer", part.words
    if part.kind in kinds and part.kind != "switch":
        return f"{kinds[part.kind]} {part.value}", part.words
    return kinds.get(part.kind, part.words), "closes when pressed" if part.kind == "switch" else ""


def mounts() -> str:
    """The mounts with picture, number, size and mass."""
    rows = []
    for name, mount in MOUNTS.items():
        solid = mount.make()
        size = " × ".join(f"{n:.0f}" for n in size_mm(solid))
        grams = f"{solid.volume() / 1000 * PLASTIC_G_PER_CM3 * FILLED:.0f}"
        rows.append([f"![{name}](pictures/{name}.png)", f"`{name}`", str(mount.count), size, grams, mount.words])
    return table(["", "name", "for one rig", "mm", "about g", "what for"], rows)


def checks(every: Iterable[Check]) -> str:
    """The electrical check: the worst that was found, beside what is borne."""
    titles = {circuit.name: circuit.title for circuit in every_circuit()}
    rows = [
        [titles[c.circuit], c.what, f"{c.worst:.3g} {c.unit}", f"{c.sense} {c.limit:.3g} {c.unit}", c.source]
        for c in every
    ]
    return table(["drawing", "question", "worst", "wanted", "source"], rows)
