"""Tables say what the circuits and the mounts hold."""

from __future__ import annotations

import pytest

pytest.importorskip("manifold3d", reason="manifold3d is not installed: pip install '.[hardware]'")

from hardware.draw import circuits
from hardware.draw.mounts import MOUNTS
from hardware.draw.tables import mounts, parts, wiring_blocks


def test_equal_parts_stand_together_and_none_is_left_out() -> None:
    circuit = circuits.gates_at_pi()
    listed = parts(circuit)
    assert "| 4 × | resistor 1 kΩ |  | R12, R13, R22, R23 |" in listed
    for part in circuit.parts:
        assert (part.ref in listed) == (part.drawn and part.kind != "pin"), part.ref


def test_every_row_has_as_many_fields_as_the_head() -> None:
    for name, block in wiring_blocks().items():
        lines = block.splitlines()
        fields = {len(line.strip("|").split("|")) for line in lines}
        assert len(fields) == 1, name
        assert len(lines) > 2, name


def test_every_mount_is_listed_with_its_number() -> None:
    listed = mounts().splitlines()[2:]
    assert len(listed) == len(MOUNTS)
    for line, (name, mount) in zip(listed, MOUNTS.items(), strict=True):
        fields = [field.strip() for field in line.strip("|").split("|")]
        assert fields[1:3] == [f"`{name}`", str(mount.count)]
        assert 0 < int(fields[4]) < 200
