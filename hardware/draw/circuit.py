"""A circuit as a value: which terminals of which parts hang together. Drawing and electrical check start from it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

Kind: TypeAlias = Literal[
    "resistor",
    "capacitor",
    "diode",
    "npn",
    "switch",
    "pin",  # of a Pi or a board: "input", "high", "low"
    "open_collector",  # the output of a sensor: "low" or "open"
    "load",  # takes a current from `plus`, whatever its voltage
    "block",  # drawn, but no more than a name to the solver
]

POWERS = {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}
_VALUE = re.compile(r"([\d.]+) ?([pnµmkM]?)(Ω|F|A)")


@dataclass(frozen=True, slots=True)
class Part:
    """One part and the nets on which its terminals lie."""

    ref: str
    """Its name in drawing and list, such as "R11"."""
    kind: Kind
    pins: Mapping[str, str]
    """Terminal -> net."""
    words: str = ""
    """What to buy, or what it is."""
    value: str = ""
    """As printed: "10 kΩ", "1 nF", "1 mA"; empty where there is none."""
    model: str = ""
    """Name of a diode's or a transistor's behaviour in `behaviour.py`."""
    printed: str = ""
    """What the drawing says in place of the value, where that is only how the part is reckoned with."""
    drawn: bool = True
    """False for what is there without being a part, such as a cable's capacitance."""

    @property
    def si(self) -> float:
        """Its value in ohms, farads or amperes.

        Raises:
            ValueError: it has none that can be read.
        """
        read = _VALUE.fullmatch(self.value)
        if read is None:
            raise ValueError(f"{self.ref}: value is {self.value!r}; a number with Ω, F or A is wanted, such as '10 kΩ'")
        return float(read[1]) * POWERS[read[2]]


@dataclass(frozen=True, slots=True)
class Circuit:
    """Parts that hang together by their nets."""

    name: str
    title: str
    parts: tuple[Part, ...]

    def __getitem__(self, ref: str) -> Part:
        """The part of that name. KeyError if there is none."""
        for part in self.parts:
            if part.ref == ref:
                return part
        raise KeyError(f"{self.name}: there is no part {ref!r}")

    def nets(self) -> Mapping[str, frozenset[tuple[str, str]]]:
        """Net -> its (part, terminal)s, of what is drawn."""
        found: dict[str, set[tuple[str, str]]] = {}
        for part in self.parts:
            if part.drawn:
                for terminal, net in part.pins.items():
                    found.setdefault(net, set()).add((part.ref, terminal))
        return {net: frozenset(terminals) for net, terminals in found.items()}

    def with_values(self, values: Mapping[str, str]) -> Circuit:
        """The same circuit, with other values for the parts named. KeyError for a part that is not there."""
        for ref in values:
            self[ref]
        return replace(self, parts=tuple(replace(p, value=values.get(p.ref, p.value)) for p in self.parts))


def two(
    ref: str, kind: Kind, a: str, b: str, *, value: str = "", words: str = "", model: str = "", printed: str = ""
) -> Part:
    """A part with two terminals `a` and `b` (a diode conducts from a to b)."""
    return Part(ref, kind, {"a": a, "b": b}, words, value, model, printed)


def joined(name: str, title: str, *circuits: Iterable[Part]) -> Circuit:
    """One circuit of several rows of parts. ValueError if a name occurs twice."""
    parts = tuple(part for row in circuits for part in row)
    if twice := sorted(_twice(part.ref for part in parts)):
        raise ValueError(f"{name}: {', '.join(twice)}: named twice; each part wants a name of its own")
    return Circuit(name, title, parts)


def _twice(names: Iterable[str]) -> Iterator[str]:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            yield name
        seen.add(name)
