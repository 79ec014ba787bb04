"""The circuits agree with the rig file's example, the firmware, and each other."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from hardware.draw import circuits


def example(project: Path) -> dict[str, dict[str, object]]:
    text = (project / "hardware/rig_file.md").read_text(encoding="utf-8")
    return tomllib.loads(re.findall(r"```toml\n(.*?)```", text, re.DOTALL)[0])


def test_pins_are_those_of_the_example_in_rig_file_md(project: Path) -> None:
    rig = example(project)
    assert rig["gates_driver"]["pins"] == {f"{g.lower()} gate": pin for g, pin in circuits.GATE_PINS.items()}
    buttons = {f"{name.lower()}_pin": pin for name, pin in circuits.BUTTON_PINS.items()}
    wanted = buttons | {"lamp_pin": circuits.LAMP_PIN, "buzzer_pin": circuits.BUZZER_PIN, "kind": "gpio_panel"}
    assert rig["panel_driver"] == wanted
    assert rig["light_driver"]["pin"] == circuits.LIGHT_PIN


def test_the_example_knows_the_level_of_a_broken_beam(project: Path) -> None:
    """The circuits' receivers are open collectors that pull down in the light, with a pull-up: dark is high."""
    assert example(project)["gates_driver"]["blocked_is"] == "high"
    assert circuits.gates_at_pi()["R11"].pins == {"a": "3V3", "b": "START OUT"}
    assert circuits.gates_at_pi()["U1"].model == "ir_receiver"


def test_pins_of_the_board_are_those_of_its_firmware(project: Path) -> None:
    text = (project / "hardware/firmware/rp2040_gates/main.py").read_text(encoding="utf-8")
    found = re.search(r"^GATE_PINS = \((\d+), (\d+)\)", text, re.MULTILINE)
    assert found is not None
    assert [int(n) for n in found.groups()] == list(circuits.BOARD_PINS.values())


@pytest.mark.parametrize("circuit", circuits.every_circuit(), ids=lambda c: c.name)
def test_no_net_hangs_loose(circuit: circuits.Circuit) -> None:
    """A net with one terminal is a wire to nowhere; what leaves the drawing by a plug is named here."""
    leaves = {"laser_gate": {"START OUT"}}.get(circuit.name, set())
    loose = {net for net, terminals in circuit.nets().items() if len(terminals) < 2}
    assert loose - {"3V3", "5V"} == leaves


def test_the_posts_see_no_5_v() -> None:
    """What stands with a signal wire at the water gets 3.3 V by a resistor, and nothing else."""
    for circuit in (circuits.gates_at_pi(), circuits.gates_at_board()):
        assert "5V" not in circuit.nets()
        for post in ("U1", "U2"):
            assert not set(circuit[post].pins.values()) & {"3V3", "5V"}
