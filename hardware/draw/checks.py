"""The electrical check of each circuit: the worst that can happen, beside what is borne, each with its source.

Worst means: rails 5 % off, resistors 5 % off, the resistors inside the pins anywhere within their limits, outputs as
weak or as strong as they come; and the faults of a schoolroom: a wire shorted, a wire on 5 V, a plug pulled.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

from hardware.draw import behaviour, circuits
from hardware.draw.behaviour import PI, RP2040, PinLimits
from hardware.draw.circuit import Circuit
from hardware.draw.solver import Answer, Setting, corners, crossing_s, solve

RAILS_V = {"GND": 0.0, "3V3": 3.3, "5V": 5.0}
RAILS_RATIO, RESISTORS_RATIO = 0.05, 0.05
STRONG_OHM = 10.0
"""An output as strong as they come: what limits a current must be the resistor on the board."""
SHORT_A = 40e-3
"""What a shorted cable may take from 3.3 V without anybody noticing elsewhere (the Pi's 3.3 V gives ten times that)."""
FUSE_A = 0.2
"""The resettable fuse in the 5 V line of the box holds this."""
CARRIER_HZ = 38e3
LED_MW_PER_SR_PER_A = 500.0
"""Of a 940 nm LED of 15 to 25 degrees half angle: 50 mW/sr at 100 mA (data sheet class)."""
LED_PEAK_A = 50e-3
"""A 5 mm LED bears 100 mA; half of that, so that it stays cool and mild."""
FARTHEST_M = 1.5
FORCED_GAIN = 30.0
FORCED_GAIN_SOURCE = (
    "a third of the least gain, 100, of small NPN transistors, so that it saturates (common practice, no source)"
)
NEAR_M = 0.2


@dataclass(frozen=True, slots=True)
class Check:
    """One question to a circuit, and its worst answer."""

    circuit: str
    what: str
    worst: float
    """In `unit`."""
    limit: float
    """In `unit`."""
    unit: str
    sense: Literal["at most", "at least"]
    source: str

    @property
    def holds(self) -> bool:
        """Whether the worst is within the limit."""
        return self.worst <= self.limit if self.sense == "at most" else self.worst >= self.limit


def every_check(changed: Mapping[str, str] | None = None) -> list[Check]:
    """All checks of all circuits; or, with other values in some parts (part -> value), of the circuits with those."""
    every = [(circuit, {p.ref for p in circuit.parts} & set(changed or {})) for circuit in circuits.every_circuit()]
    chosen = [_changed(circuit, changed or {}) for circuit, has in every if has or not changed]
    return [check for circuit in chosen for check in checks_of(circuit)]


def checks_of(circuit: Circuit) -> Iterator[Check]:
    """The checks of one circuit. KeyError for a circuit that has none."""
    checkers: Mapping[str, Callable[[Circuit], Iterable[Check]]] = {
        "gates_at_pi": lambda c: _gates(c, PI, circuits.GATE_PINS, "GPIO"),
        "gates_at_board": lambda c: _gates(c, RP2040, circuits.BOARD_PINS, "GP"),
        "infrared_emitter": _emitter,
        "laser_gate": _laser,
        "panel": _panel,
    }
    yield from checkers[circuit.name](circuit)


def _changed(circuit: Circuit, values: Mapping[str, str]) -> Circuit:
    refs = {part.ref for part in circuit.parts}
    return circuit.with_values({ref: value for ref, value in values.items() if ref in refs})


def _every_corner(circuit: Circuit, setting: Setting, limits: PinLimits) -> list[Answer]:
    pulls = (limits.pull_least_ohm, limits.pull_most_ohm)
    every = corners(setting, rail_ratio=RAILS_RATIO, resistor_ratio=RESISTORS_RATIO, pulls_ohm=pulls)
    return [solve(circuit, it) for it in every]


def _setting(states: Mapping[str, str], *, out_ohm: float = STRONG_OHM, **held_v: float) -> Setting:
    return Setting(RAILS_V | held_v, states, out_ohm=out_ohm)


def _gates(circuit: Circuit, limits: PinLimits, pins: Mapping[str, int], prefix: str) -> Iterator[Check]:
    ask = partial(Check, circuit.name)
    pin, sheet = f"{prefix}{pins['START']}", "data sheet class of 38 kHz receivers for light barriers"
    free = _every_corner(circuit, _setting({"U1": "low", "U2": "low"}), limits)
    broken = _every_corner(circuit, _setting({"U1": "open", "U2": "open"}), limits)
    yield ask(
        "free beam: pin", max(a.volts["START pin"] for a in free), limits.low_at_most_v, "V", "at most", limits.source
    )
    yield ask(
        "broken beam: pin",
        min(a.volts["START pin"] for a in broken),
        limits.high_at_least_v,
        "V",
        "at least",
        limits.source,
    )
    sunk = max(a.amperes["U1", "out"] for a in free)
    yield ask(
        "free beam: current into the receiver", 1e3 * sunk, 1e3 * behaviour.RECEIVER_SINK_A, "mA", "at most", sheet
    )
    supply = min(a.volts["START 3V3"] for a in free)
    yield ask("supply at the receiver", supply, behaviour.RECEIVER_LEAST_V, "V", "at least", sheet)
    load = circuit["cable START"].si
    yield ask(
        f"capacitance of {circuits.CABLE_M:g} m of cable",
        1e9 * load,
        1e9 * behaviour.RECEIVER_LOAD_F,
        "nF",
        "at most",
        sheet,
    )
    yield from _lateness(circuit, limits)
    total = max(a.out_of("3V3", circuit) for a in free)
    yield ask("all of it: current from 3.3 V", 1e3 * total, 1e3 * limits.all_pins_a, "mA", "at most", limits.source)
    yield from _gate_faults(circuit, limits, pin)


def _lateness(circuit: Circuit, limits: PinLimits) -> Iterator[Check]:
    slow = replace(_setting({}), resistors_ratio=1 + RESISTORS_RATIO, pull_ohm=limits.pull_most_ohm)
    low, high = (replace(slow, states={"U1": it, "U2": "low"}) for it in ("low", "open"))
    source = "gate's u_stamp_s of 0.1 ms (logger/config.py), of which wires shall use a fifth"
    rise = crossing_s(circuit, low, high, net="START pin", at_v=limits.high_at_least_v)
    fall = crossing_s(circuit, high, low, net="START pin", at_v=limits.low_at_most_v)
    for what, late_s in (("beam breaks: pin later by", rise), ("beam comes free: pin later by", fall)):
        yield Check(circuit.name, what, 1e6 * late_s, 1e6 * behaviour.STAMP_GOAL_S / 5, "µs", "at most", source)


def _gate_faults(circuit: Circuit, limits: PinLimits, pin: str) -> Iterator[Check]:
    """What a wrong wire does: the signal on 5 V or below ground, the supply shorted, the plug pulled."""
    states = {"U1": "open", "U2": "low"}
    source = f"injection of 0.5 mA is borne by CMOS inputs (common practice, from memory); {limits.name} {pin}"
    for what, volts in (("signal wire on 5 V", 5.0), ("signal wire at −1 V", -1.0)):
        found = _every_corner(circuit, _setting(states, **{"START OUT": volts}), limits)
        clamped = [(a.volts["START clamped"], a.volts["3V3"]) for a in found]
        # the pin's own diodes take over at the rail itself, at worst: what then flows is set by the last resistor
        beyond = [v - rail if volts > 0 else -v for v, rail in clamped]
        ohm = circuit["R13"].si * (1 - RESISTORS_RATIO)
        flow = max(0.0, max(beyond)) / ohm
        yield Check(circuit.name, f"{what}: current into the pin", 1e3 * flow, 0.5, "mA", "at most", source)
    short = _every_corner(circuit, _setting(states, **{"START 3V3": 0.0}), limits)
    taken = max(a.out_of("3V3", circuit) for a in short)
    yield Check(
        circuit.name, "supply wire shorted to ground: current from 3.3 V", 1e3 * taken, 1e3 * SHORT_A, "mA", "at most",
        "a tenth of what the Pi's 3.3 V gives; RP2040 boards: 300 mA (from memory)",
    )  # fmt: skip
    heat = max((a.volts["3V3"] - a.volts["START 3V3"]) ** 2 / circuit["R10"].si for a in short)
    yield Check(circuit.name, "the same: heat in R10", 1e3 * heat, 250, "mW", "at most", "0.25 W resistor")
    unplugged = Circuit(circuit.name, circuit.title, tuple(p for p in circuit.parts if not p.ref.startswith("U1")))
    pulled = _every_corner(unplugged, _setting({"U2": "low"}), limits)
    worst = min(a.volts["START pin"] for a in pulled)
    yield Check(
        circuit.name, "plug pulled: pin reads broken", worst, limits.high_at_least_v, "V", "at least", limits.source
    )


def carrier_hz(circuit: Circuit, *, trimmer_ohm: float) -> float:
    """An astable timer of the 555 kind: f = 1 / (ln 2 · (Ra + 2 Rb) · C), its data sheet's formula."""
    return 1 / (math.log(2) * (circuit["R30"].si + 2 * (circuit["R31"].si + trimmer_ohm)) * circuit["C31"].si)


def _emitter(circuit: Circuit) -> Iterator[Check]:
    ask = partial(Check, circuit.name)
    lit = _every_corner(circuit, _setting({}, OUT=4.8), PI)
    peaks = [a.amperes["D30", "a"] for a in lit]
    yield ask(
        "LED's current while on", 1e3 * max(peaks), 1e3 * LED_PEAK_A, "mA", "at most", "half of a 5 mm LED's 100 mA"
    )
    pressed = max(a.amperes["Q3", "c"] / a.amperes["Q3", "b"] for a in lit)
    yield ask(
        "transistor fully on: collector over base current", pressed, FORCED_GAIN, "", "at most", FORCED_GAIN_SOURCE
    )
    base = max(a.amperes["R32", "a"] for a in lit)
    yield ask("timer's output current", 1e3 * base, 5, "mA", "at most", "CMOS timers give 10 mA at 5 V (from memory)")
    trimmer, c_ratio, r_ratio = 5e3, 1.05, 1.01
    lowest = carrier_hz(circuit, trimmer_ohm=trimmer) / (c_ratio * r_ratio)
    highest = carrier_hz(circuit, trimmer_ohm=0) * 0.95 / 1.01
    bands = "the receiver's band; the trimmer must reach it with parts 5 % off"
    yield ask("carrier, trimmer at one end", lowest / 1e3, 0.98 * CARRIER_HZ / 1e3, "kHz", "at most", bands)
    yield ask("carrier, trimmer at the other end", highest / 1e3, 1.02 * CARRIER_HZ / 1e3, "kHz", "at least", bands)
    light = min(peaks) * LED_MW_PER_SR_PER_A / FARTHEST_M**2
    enough = 2 * behaviour.RECEIVER_IRRADIANCE_MW_PER_M2
    sheet = "twice what every receiver for light barriers answers to (data sheet class: 1.2 mW/m²)"
    yield ask(f"light at {FARTHEST_M} m", light, enough, "mW/m²", "at least", sheet)
    near = 1e-3 * max(peaks) * LED_MW_PER_SR_PER_A / NEAR_M**2
    eye = "IEC 62471, infrared and the eye, over 1000 s: 100 W/m² (from memory); an estimate, no classification"
    yield ask(f"light at {NEAR_M} m, as if always on", near, 100, "W/m²", "at most", eye)


def _laser(circuit: Circuit) -> Iterator[Check]:
    sheet = (
        "phototransistor: 0.5 mA or more in the beam, 0.1 mA or less behind filter and tube (from memory; try it out)"
    )
    fed = _every_corner(circuit, _setting({"U4": "low"}, **{"START 3V3": 3.2}), PI)
    thresholds = [a.volts["THRESHOLD"] for a in fed]
    ohm = circuit["R41"].si
    bright, dark = 0.5e-3 * ohm * (1 - RESISTORS_RATIO), 0.1e-3 * ohm * (1 + RESISTORS_RATIO)
    yield Check(
        circuit.name, "in the beam: above the threshold by", bright - max(thresholds), 0.3, "V", "at least", sheet
    )
    yield Check(
        circuit.name, "beam broken: below the threshold by", min(thresholds) - dark, 0.3, "V", "at least", sheet
    )
    reach = "one input must stay 1.5 V below the supply (LM393 kind, from memory)"
    room = min(a.volts["START 3V3"] - a.volts["THRESHOLD"] for a in fed)
    yield Check(circuit.name, "threshold below the comparator's supply by", room, 1.5, "V", "at least", reach)
    volts = min(a.volts["LASER +"] for a in fed)
    yield Check(circuit.name, "voltage at the laser module", volts, 4.4, "V", "at least", "5 V module (from memory)")
    flow = max(a.amperes["M4", "a"] for a in fed)
    yield Check(
        circuit.name, "laser module's current", 1e3 * flow, 40, "mA", "at most", "5 V module, 30 mA (from memory)"
    )


def _panel(circuit: Circuit) -> Iterator[Check]:
    outputs = {f"GPIO{n}": "high" for n in (circuits.LAMP_PIN, circuits.BUZZER_PIN, circuits.LIGHT_PIN)}
    pressed = {"S50": "closed", "S52": "closed", "S54": "closed"}
    all_on = _every_corner(circuit, _setting(outputs | pressed), PI)
    weak = _every_corner(circuit, _setting(outputs, out_ohm=PI.out_ohm), PI)
    yield from _buttons(circuit, all_on, weak)
    yield from _loads(circuit, all_on, weak)
    most = partial(Check, circuit.name, unit="mA", sense="at most", source=PI.source)
    total = max(a.out_of("3V3", circuit) for a in all_on)
    yield most("all on, all pressed: current from 3.3 V", worst=1e3 * total, limit=1e3 * PI.all_pins_a)
    shorted = _every_corner(circuit, _setting(outputs, **{"LIGHT +": 0.0}), PI)
    flow = max(-a.amperes[f"GPIO{circuits.LIGHT_PIN}", "io"] for a in shorted)
    yield most("light's cable shorted: current of its pin", worst=1e3 * flow, limit=1e3 * PI.drive_a)


def _buttons(circuit: Circuit, pressed: list[Answer], free: list[Answer]) -> Iterator[Check]:
    volt = partial(Check, circuit.name, unit="V", source=PI.source)
    low, high = max(a.volts["ARM pin"] for a in pressed), min(a.volts["ARM pin"] for a in free)
    yield volt("button pressed: pin", worst=low, limit=PI.low_at_most_v, sense="at most")
    yield volt("button free: pin", worst=high, limit=PI.high_at_least_v, sense="at least")
    mistaken = _every_corner(circuit, _setting({"GPIO5": "high", "S50": "closed"}), PI)
    flow = max(-a.amperes["GPIO5", "io"] for a in mistaken)
    what = "button's pin made an output by mistake: its current"
    yield Check(circuit.name, what, 1e3 * flow, 1e3 * PI.drive_a, "mA", "at most", PI.source)
    yield from _press(circuit)


def _loads(circuit: Circuit, strong: list[Answer], weak: list[Answer]) -> Iterator[Check]:
    most = partial(Check, circuit.name, sense="at most")
    for pin, what in ((circuits.LAMP_PIN, "lamp"), (circuits.BUZZER_PIN, "buzzer"), (circuits.LIGHT_PIN, "light")):
        flow = max(-a.amperes[f"GPIO{pin}", "io"] for a in strong)
        yield most(f"{what}: current of its pin", worst=1e3 * flow, limit=1e3 * PI.drive_a, unit="mA", source=PI.source)
    for ref, what in (("Q60", "lamp"), ("Q62", "buzzer")):
        gain = max(a.amperes[ref, "c"] / a.amperes[ref, "b"] for a in weak)
        what = f"{what}'s transistor fully on: collector over base current"
        yield most(what, worst=gain, limit=FORCED_GAIN, unit="", source=FORCED_GAIN_SOURCE)
    light = min(a.amperes["D64", "a"] for a in weak)
    source = "a 1 cd LED (at 20 mA) still shows (from memory)"
    yield Check(circuit.name, "light: current of its LED", 1e3 * light, 1.5, "mA", "at least", source)
    lit = _every_corner(circuits.infrared_emitter(), _setting({}, OUT=4.8), PI)
    every = 2 * max(a.amperes["D30", "a"] for a in lit) + max(a.out_of("5V", circuit) for a in strong)
    what, source = "5 V: lamp, buzzer and both emitters", "the box's fuse holds 0.2 A"
    yield most(what, worst=1e3 * every, limit=1e3 * FUSE_A, unit="mA", source=source)


def _press(circuit: Circuit) -> Iterator[Check]:
    slow = replace(_setting({}), resistors_ratio=1 + RESISTORS_RATIO, pull_ohm=PI.pull_most_ohm)
    late_s = crossing_s(circuit, slow, replace(slow, states={"S52": "closed"}), net="GO pin", at_v=PI.low_at_most_v)
    source = "gate's u_stamp_s of 0.1 ms (logger/config.py)"
    yield Check(
        circuit.name, "GO pressed: pin later by", 1e6 * late_s, 1e6 * behaviour.STAMP_GOAL_S, "µs", "at most", source
    )
