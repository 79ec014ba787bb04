from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.guide import gate_pulls
from logger.guide.gate_words import gates_of
from logger.recording.rig_toml import read_rig
from logger.simulator import simulate_run

AT = datetime(2026, 5, 4, 10, 15, tzinfo=UTC)


def test_a_pull_is_looked_at_solved_kept_and_entered(filmed: Path) -> None:
    rig_file = filmed / "rig.toml"
    recordings = gate_pulls.loaded([filmed])
    rig = gate_pulls.rig_of(recordings, rig_file)
    told: list[str] = []
    seen = gate_pulls.seen(recordings, rig, told=told.append)
    assert told == [f"looking at {filmed.name}, 1 of 1"]
    fit = gate_pulls.solved(seen, rig)
    folder = gate_pulls.kept(fit, rig, [], filmed.parent / "gates", recordings=[filmed], at=AT)
    assert {path.name for path in folder.iterdir()} == {"gates.svg", "gates.toml"}
    older = gate_pulls.entered(gates_of(fit, rig), rig_file, folder, at=AT)
    assert older.exists()
    # truth: the simulator's own rig without any error of tape or ruler
    true = {g.name: g.offset_mm for g in simulate_run(kind="straight", seed=1003, rig_errors=False).rig.gates}
    for gate in read_rig(rig_file).gates:
        assert abs(gate.offset_mm - true[gate.name]) < 2.5 * gate.u_offset_mm


def test_one_pull_given_twice_is_refused(filmed: Path) -> None:
    with pytest.raises(InputError, match="twice; one pull counts once"):
        gate_pulls.loaded([filmed, filmed])
