"""What voltages and currents a circuit has: nodal analysis, Newton's method for what bends, small steps for what lasts.

The method of every circuit simulator (Nagel, SPICE2, UCB/ERL M520, 1975); the tests compare it with ngspice. Nets with
a given voltage (rails, ground) are handed in; every other net's currents add up to zero.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from hardware.draw.behaviour import (
    COMPARATOR_LOW_OHM,
    JUNCTIONS,
    RECEIVER_LOW_OHM,
    THERMAL_V,
    TRANSISTORS,
    Junction,
    Transistor,
)
from hardware.draw.circuit import Circuit, Part

Floats: TypeAlias = NDArray[np.float64]

LEAK_S = 1e-12
"""A conductance from every net to ground, so that none floats."""
STEP_V = 0.15
"""A net moves at most so far in one step of Newton's."""
CLOSE_V = 1e-9
ROUNDS_COUNT = 500
CONTACT_OHM = 0.05
LOW_OHM = {"ir_receiver": RECEIVER_LOW_OHM, "comparator": COMPARATOR_LOW_OHM}


@dataclass(frozen=True, slots=True)
class Setting:
    """What is done with a circuit: rails, what the pins do, which button is pressed, and how far off the parts are."""

    rails_v: Mapping[str, float]
    """Net -> its voltage."""
    states: Mapping[str, str] = field(default_factory=dict)
    """Part -> "high", "low", "input" (pins), "closed", "open" (switches), "low", "open" (open collectors)."""
    resistors_ratio: float = 1.0
    """All resistors are so many times what is printed on them; of dimension one."""
    pull_ohm: float = 50e3
    """In ohms; the resistor inside a pin that is an input."""
    out_ohm: float = 50.0
    """In ohms; of a pin that is an output."""


@dataclass(frozen=True, slots=True)
class Answer:
    """Voltages of all nets, and what flows into each terminal that has a part behind it."""

    volts: Mapping[str, float]
    """Net -> voltage, V."""
    amperes: Mapping[tuple[str, str], float]
    """(part, terminal) -> current into the part there, A."""

    def out_of(self, net: str, circuit: Circuit) -> float:
        """The current, A, that the parts of `circuit` take from `net`."""
        pins = ((part.ref, terminal) for part in circuit.parts for terminal, n in part.pins.items() if n == net)
        return sum(self.amperes.get(key, 0.0) for key in pins) + self.amperes.get(("pulls", net), 0.0)


Flow: TypeAlias = tuple[str, str, Callable[[float], tuple[float, float]]]
"""(from net, to net, voltage between -> (current, its slope))."""


def solve(circuit: Circuit, setting: Setting) -> Answer:
    """The steady state. ArithmeticError where none is found."""
    work = _Work(circuit, setting)
    return work.answer(work.settle(work.start()))


def crossing_s(
    circuit: Circuit,
    before: Setting,
    after: Setting,
    *,
    net: str,
    at_v: float,
    step_s: float = 2e-7,
    most_s: float = 2e-3,
) -> float:
    """How long after the change from `before` to `after` the net reaches `at_v`.

    Raises:
        ArithmeticError: it does not within `most_s`.
    """
    first, then = _Work(circuit, before), _Work(circuit, after)
    volts = first.settle(first.start())
    before_v = first.at(volts, net)
    time_s = 0.0
    while time_s < most_s:
        step = max(step_s, time_s / 100)  # what is slow needs no short steps
        volts = then.settle(volts, last=volts, step_s=step)
        now_v = then.at(volts, net)
        if (before_v - at_v) * (now_v - at_v) <= 0 and now_v != before_v:
            return time_s + (at_v - before_v) / (now_v - before_v) * step
        time_s, before_v = time_s + step, now_v
    raise ArithmeticError(
        f"{circuit.name}: {net} does not come to {at_v} V within {most_s} s; it stands at {before_v:.3f} V"
    )


def _resistor(ohm: float) -> Callable[[float], tuple[float, float]]:
    return lambda v: (v / ohm, 1 / ohm)


def _junction(it: Junction) -> Callable[[float], tuple[float, float]]:
    scale = it.ideality * THERMAL_V

    def flow(v: float) -> tuple[float, float]:
        grown = math.exp(min(v / scale, 80.0))
        return it.saturation_a * (grown - 1), it.saturation_a * grown / scale

    return flow


class _Work:
    """One circuit under one setting, taken apart."""

    def __init__(self, circuit: Circuit, setting: Setting) -> None:
        self._circuit, self._setting = circuit, setting
        self._flows: dict[tuple[str, str], Flow] = {}
        """(part, terminal it enters by) -> flow."""
        self._transistors: dict[str, tuple[str, str, str, Transistor]] = {}
        self._stores: list[tuple[str, str, float]] = []
        for part in circuit.parts:
            self._take(part)
        nets = {n for a, b, _ in self._flows.values() for n in (a, b)}
        nets |= {n for b, c, e, _ in self._transistors.values() for n in (b, c, e)}
        nets |= {n for a, b, _ in self._stores for n in (a, b)}
        self._free = sorted(nets - set(setting.rails_v))
        self._index = {net: i for i, net in enumerate(self._free)}

    def _take(self, part: Part) -> None:
        state = self._setting.states.get(part.ref, "")
        if part.kind in {"resistor", "load"}:
            ohm = part.si * (self._setting.resistors_ratio if part.kind == "resistor" else 1.0)
            self._flows[part.ref, "a"] = (part.pins["a"], part.pins["b"], _resistor(ohm))
        elif part.kind == "switch":
            if state == "closed":
                self._flows[part.ref, "a"] = (part.pins["a"], part.pins["b"], _resistor(CONTACT_OHM))
        elif part.kind == "capacitor":
            self._stores.append((part.pins["a"], part.pins["b"], part.si))
        elif part.kind == "diode":
            inner, model = f"{part.ref} inside", JUNCTIONS[part.model]
            self._flows[part.ref, "a"] = (part.pins["a"], inner, _resistor(model.series_ohm))
            self._flows[part.ref, "inside"] = (inner, part.pins["b"], _junction(model))
        elif part.kind == "npn":
            self._transistors[part.ref] = (*(part.pins[t] for t in "bce"), TRANSISTORS[part.model])  # type: ignore[assignment]
        elif part.kind == "pin":
            self._take_pin(part, state or "input")
        elif part.kind == "open_collector":
            if part.value:
                self._flows[part.ref, "pull"] = (part.pins["vs"], part.pins["out"], _resistor(part.si))
            if state == "low":
                self._flows[part.ref, "out"] = (part.pins["out"], part.pins["gnd"], _resistor(LOW_OHM[part.model]))

    def _take_pin(self, part: Part, state: str) -> None:
        rail, net = part.model or "3V3", part.pins["io"]
        if state == "input":
            self._flows[part.ref, "pull"] = (rail, net, _resistor(self._setting.pull_ohm))
        elif state in {"high", "low"}:
            source = rail if state == "high" else "GND"
            self._flows[part.ref, "drive"] = (source, net, _resistor(self._setting.out_ohm))

    def start(self) -> Floats:
        """A first guess."""
        return np.zeros(len(self._free))

    def at(self, volts: Floats, net: str) -> float:
        """The voltage of a net."""
        return float(volts[self._index[net]]) if net in self._index else self._setting.rails_v[net]

    def settle(self, volts: Floats, *, last: Floats | None = None, step_s: float = math.inf) -> Floats:
        """Newton's method from `volts`; with `last`, one step of `step_s` seconds after it (backward Euler)."""
        volts = volts.copy()
        for _ in range(ROUNDS_COUNT):
            rest, slope = self._balance(volts)
            if last is not None:
                self._add_stores(rest, slope, volts, last, step_s)
            move = np.linalg.solve(slope, -rest)
            largest = float(np.abs(move).max(initial=0.0))
            volts += move * min(1.0, STEP_V / largest) if largest > 0 else move
            if largest < CLOSE_V:
                return volts
        raise ArithmeticError(f"{self._circuit.name}: no steady state found in {ROUNDS_COUNT} rounds")

    def _balance(self, volts: Floats) -> tuple[Floats, Floats]:
        rest, slope = LEAK_S * volts, LEAK_S * np.eye(len(volts))
        for a, b, flow in self._flows.values():
            current, conductance = flow(self.at(volts, a) - self.at(volts, b))
            self._stamp(rest, slope, (a, b), ((a, current), (b, -current)), ((a, b, conductance),))
        for b, c, e, model in self._transistors.values():
            (ib, ic), slopes = self._transistor(volts, (b, c, e), model)
            for net, current, by in ((b, ib, slopes[0]), (c, ic, slopes[1]), (e, -ib - ic, -slopes[0] - slopes[1])):
                if net in self._index:
                    rest[self._index[net]] += current
                    for other, s in zip((b, c, e), by, strict=True):
                        if other in self._index:
                            slope[self._index[net], self._index[other]] += s
        return rest, slope

    def _transistor(
        self, volts: Floats, nets: tuple[str, str, str], model: Transistor
    ) -> tuple[tuple[float, float], tuple[Floats, Floats]]:
        vb, vc, ve = (self.at(volts, net) for net in nets)
        junction = _junction(Junction(model.saturation_a, 1.0, 0.0, ""))
        (forward, gf), (back, gr) = junction(vb - ve), junction(vb - vc)
        ib = forward / model.forward_gain + back / model.reverse_gain
        ic = forward - back - back / model.reverse_gain
        by_be, by_bc = np.array([1.0, 0.0, -1.0]), np.array([1.0, -1.0, 0.0])
        ib_by = gf / model.forward_gain * by_be + gr / model.reverse_gain * by_bc
        ic_by = gf * by_be - gr * (1 + 1 / model.reverse_gain) * by_bc
        return (ib, ic), (ib_by, ic_by)

    def _stamp(
        self,
        rest: Floats,
        slope: Floats,
        ends: tuple[str, str],
        currents: tuple[tuple[str, float], ...],
        conductances: tuple[tuple[str, str, float], ...],
    ) -> None:
        for net, current in currents:
            if net in self._index:
                rest[self._index[net]] += current
        for a, b, conductance in conductances:
            for here, there in ((a, b), (b, a)):
                if here in self._index:
                    slope[self._index[here], self._index[here]] += conductance
                    if there in self._index:
                        slope[self._index[here], self._index[there]] -= conductance

    def _add_stores(self, rest: Floats, slope: Floats, volts: Floats, last: Floats, step_s: float) -> None:
        for a, b, farad in self._stores:
            now, then = (self.at(v, a) - self.at(v, b) for v in (volts, last))
            current, conductance = farad * (now - then) / step_s, farad / step_s
            self._stamp(rest, slope, (a, b), ((a, current), (b, -current)), ((a, b, conductance),))

    def answer(self, volts: Floats) -> Answer:
        """All voltages, and the current into each terminal."""
        amperes: dict[tuple[str, str], float] = {}

        def add(ref: str, terminal: str, current: float) -> None:
            amperes[ref, terminal] = amperes.get((ref, terminal), 0.0) + current

        terminals = {part.ref: {net: t for t, net in part.pins.items()} for part in self._circuit.parts}
        for (ref, _), (a, b, flow) in self._flows.items():
            current = flow(self.at(volts, a) - self.at(volts, b))[0]
            for net, sign in ((a, 1.0), (b, -1.0)):
                if net in terminals[ref]:
                    add(ref, terminals[ref][net], sign * current)
                elif net != f"{ref} inside":
                    add("pulls", net, sign * current)
        for ref, (b, c, e, model) in self._transistors.items():
            (ib, ic), _ = self._transistor(volts, (b, c, e), model)
            for terminal, current in zip("bce", (ib, ic, -ib - ic), strict=True):
                add(ref, terminal, current)
        nets = {net: self.at(volts, net) for net in self._free} | dict(self._setting.rails_v)
        return Answer(nets, amperes)


def corners(
    setting: Setting, *, rail_ratio: float, resistor_ratio: float, pulls_ohm: tuple[float, float]
) -> Iterator[Setting]:
    """The setting with everything at its one end and at its other: rails, resistors, pulls (8 settings)."""
    for rails in (1 - rail_ratio, 1 + rail_ratio):
        volts = {net: v * rails for net, v in setting.rails_v.items()}
        for resistors in (1 - resistor_ratio, 1 + resistor_ratio):
            for pull in pulls_ohm:
                yield Setting(volts, setting.states, resistors, pull, setting.out_ohm)
