"""Voltages and currents: by hand where a formula gives them, and beside ngspice where that is installed."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from hardware.draw import circuits
from hardware.draw.behaviour import COMPARATOR_LOW_OHM, JUNCTIONS, RECEIVER_LOW_OHM, TRANSISTORS
from hardware.draw.circuit import Circuit, Part, joined, two
from hardware.draw.solver import CONTACT_OHM, Setting, corners, crossing_s, solve

RAILS_V = {"GND": 0.0, "3V3": 3.3, "5V": 5.0}


def test_a_divider_divides() -> None:
    circuit = joined(
        "d", "D", (two("R1", "resistor", "5V", "M", value="2 kΩ"), two("R2", "resistor", "M", "GND", value="3 kΩ"))
    )
    answer = solve(circuit, Setting(RAILS_V))
    assert answer.volts["M"] == pytest.approx(3.0, abs=1e-6)
    assert answer.out_of("5V", circuit) == pytest.approx(1e-3, rel=1e-6)
    assert answer.amperes["R2", "b"] == pytest.approx(-1e-3, rel=1e-6)


def test_a_capacitor_charges_as_the_formula_says() -> None:
    """t = RC · ln(V / (V − v)), the usual charging curve."""
    parts = (
        two("R1", "resistor", "3V3", "A", value="10 kΩ"),
        two("S1", "switch", "A", "GND"),
        two("C1", "capacitor", "A", "GND", value="1 nF"),
    )
    circuit = joined("c", "C", parts)
    late_s = crossing_s(circuit, Setting(RAILS_V, {"S1": "closed"}), Setting(RAILS_V), net="A", at_v=2.0, step_s=1e-8)
    assert late_s == pytest.approx(1e-5 * math.log(3.3 / 1.3), rel=5e-3)


def test_what_never_comes_is_told() -> None:
    parts = (two("R1", "resistor", "3V3", "A", value="10 kΩ"), two("C1", "capacitor", "A", "GND", value="1 nF"))
    circuit = joined("c", "C", parts)
    with pytest.raises(ArithmeticError, match=r"c: A does not come to 4\.0 V within 2e-05 s; it stands at 3\.3"):
        crossing_s(circuit, Setting(RAILS_V), Setting(RAILS_V), net="A", at_v=4.0, most_s=2e-5)


def test_currents_of_all_parts_at_a_net_add_up_to_nothing() -> None:
    """Kirchhoff's first law, in a circuit with diodes and transistors."""
    circuit = circuits.panel()
    pins = {f"GPIO{n}": "high" for n in (circuits.LAMP_PIN, circuits.BUZZER_PIN, circuits.LIGHT_PIN)}
    answer = solve(circuit, Setting(RAILS_V, pins | {"S50": "closed"}))
    for net in answer.volts:
        if net not in RAILS_V and not net.endswith(" inside"):
            assert answer.out_of(net, circuit) == pytest.approx(0, abs=1e-8), net


def test_a_pin_drives_both_ways_and_pulls_when_it_does_not() -> None:
    parts = (Part("GPIO1", "pin", {"io": "A"}), two("R1", "resistor", "A", "5V", value="950 Ω"))
    circuit = joined("p", "P", parts)
    low = solve(circuit, Setting(RAILS_V, {"GPIO1": "low"}, out_ohm=50))
    assert low.volts["A"] == pytest.approx(5.0 * 50 / 1000, abs=1e-6)
    high = solve(circuit, Setting(RAILS_V, {"GPIO1": "high"}, out_ohm=50))
    assert high.volts["A"] == pytest.approx(3.3 + 1.7 * 50 / 1000, abs=1e-6)
    pulled = solve(circuit, Setting(RAILS_V, {"GPIO1": "input"}, pull_ohm=50e3))
    assert pulled.volts["A"] == pytest.approx(3.3 + 1.7 * 50e3 / 50950, abs=1e-4)
    assert pulled.out_of("3V3", circuit) == pytest.approx(-1.7 / 50950, rel=1e-3)


def test_corners_take_everything_to_both_ends() -> None:
    every = list(corners(Setting(RAILS_V), rail_ratio=0.05, resistor_ratio=0.1, pulls_ohm=(33e3, 73e3)))
    assert len(every) == 8
    assert {round(s.rails_v["3V3"], 3) for s in every} == {3.135, 3.465}
    assert {s.resistors_ratio for s in every} == {0.9, 1.1}


# --- beside ngspice ---


def deck(circuit: Circuit, setting: Setting) -> str:
    """The same circuit in SPICE's language, written without any code of the solver."""
    lines, nets = [circuit.title], {net for part in circuit.parts for net in part.pins.values()} | set(setting.rails_v)
    node = {net: "0" if net == "GND" else f"n{i}" for i, net in enumerate(sorted(nets))}
    lines += [f"V{i} {node[net]} 0 {v}" for i, (net, v) in enumerate(setting.rails_v.items()) if net != "GND"]
    for number, part in enumerate(circuit.parts):
        lines += spice_of(part, number, node, setting)
    for name, it in JUNCTIONS.items():
        lines.append(f".model {name} D(IS={it.saturation_a} N={it.ideality} RS={it.series_ohm})")
    for name, q in TRANSISTORS.items():
        lines.append(f".model {name} NPN(IS={q.saturation_a} BF={q.forward_gain} BR={q.reverse_gain})")
    end = [".options TEMP=26.82 TNOM=26.82 GMIN=1e-12", ".control", "op", "print all", "quit", ".endc", ".end"]
    return "\n".join([*lines, *end])


def spice_of(part: Part, number: int, node: dict[str, str], setting: Setting) -> list[str]:
    state, at = setting.states.get(part.ref, ""), {t: node[net] for t, net in part.pins.items()}
    if part.kind == "resistor":
        return [f"R{number} {at['a']} {at['b']} {part.si * setting.resistors_ratio}"]
    if part.kind == "load":
        return [f"R{number} {at['a']} {at['b']} {part.si}"]
    if part.kind == "switch":
        return [f"R{number} {at['a']} {at['b']} {CONTACT_OHM}"] if state == "closed" else []
    if part.kind == "diode":
        return [f"D{number} {at['a']} {at['b']} {part.model}"]
    if part.kind == "npn":
        return [f"Q{number} {at['c']} {at['b']} {at['e']} {part.model}"]
    if part.kind == "pin" and state in {"high", "low"}:
        return [f"R{number} {node['3V3'] if state == 'high' else '0'} {at['io']} {setting.out_ohm}"]
    if part.kind == "pin":
        return [f"R{number} {node['3V3']} {at['io']} {setting.pull_ohm}"]
    if part.kind == "open_collector":
        pull = [f"R{number} {at['vs']} {at['out']} {part.si}"] if part.value else []
        ohm = {"ir_receiver": RECEIVER_LOW_OHM, "comparator": COMPARATOR_LOW_OHM}[part.model]
        return [*pull, f"R{number}low {at['out']} 0 {ohm}"] if state == "low" else pull
    return []


CASES = {
    "gates, free": (circuits.gates_at_pi(), Setting(RAILS_V, {"U1": "low", "U2": "low"})),
    "gates, 5 V on the wire": (
        circuits.gates_at_pi(),
        Setting(RAILS_V | {"START OUT": 5.25}, {"U1": "open", "U2": "low"}),
    ),
    "gates, wire below ground": (
        circuits.gates_at_pi(),
        Setting(RAILS_V | {"START OUT": -1.0}, {"U1": "open", "U2": "low"}),
    ),
    "emitter on": (circuits.infrared_emitter(), Setting({"GND": 0.0, "5V": 5.0, "OUT": 4.8, "3V3": 3.3})),
    "panel, all on": (
        circuits.panel(),
        Setting(RAILS_V, {"GPIO19": "high", "GPIO26": "high", "GPIO22": "high", "S50": "closed"}),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_ngspice_finds_the_same_voltages(name: str, tmp_path: Path) -> None:
    """Ngspice is the simulator that the trade uses; its models of diode and transistor are the ones meant here."""
    if shutil.which("ngspice") is None:
        pytest.skip("ngspice is not installed (apt-get install ngspice)")
    circuit, setting = CASES[name]
    nets = sorted({net for part in circuit.parts for net in part.pins.values()} | set(setting.rails_v))
    (tmp_path / "deck.cir").write_text(deck(circuit, setting), encoding="utf-8")
    told = subprocess.run(
        ["ngspice", "-b", "deck.cir"], cwd=tmp_path, capture_output=True, text=True, check=False
    ).stdout
    theirs = {int(n): float(v) for n, v in re.findall(r"^n(\d+) = (\S+)", told, flags=re.MULTILINE)}
    ours = solve(circuit, setting).volts
    compared = {nets[i]: v for i, v in theirs.items() if nets[i] in ours and nets[i] not in setting.rails_v}
    assert len(compared) >= 4, told
    for net, volts in compared.items():
        assert ours[net] == pytest.approx(volts, abs=2e-4), net
