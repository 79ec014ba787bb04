from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.guide.light_blinks import choices, entries_of, told, watched, worked_out
from logger.recording.light_evidence import read_light_evidence
from logger.recording.rig_toml import read_rig
from tests.logger.cli.test_calibrate_light import RIG

AT = datetime(2026, 5, 4, 10, 15, tzinfo=UTC)


def test_a_simulated_light_is_watched_kept_and_worked_out(tmp_path: Path) -> None:
    rig_file = tmp_path / "rig.toml"
    rig_file.write_text(RIG.replace("of the command", "of the guide"), encoding="utf-8")
    said: list[str] = []
    seen = watched(rig_file, tmp_path / "light", length_s=10.0, at=AT, told=said.append)
    assert any("measuring for 10 s" in sentence for sentence in said)
    assert read_light_evidence(seen.folder).notes.simulated
    sync = worked_out(seen.folder, seen.evidence)
    # truth: what the simulated camera was told
    assert sync.delay.value == pytest.approx(0.0617, abs=3 * sync.delay.u)
    entries = entries_of(sync)
    assert entries["camera.delay_s"] == pytest.approx(sync.delay.value, abs=1e-6)
    assert entries["camera.u_delay_s"] >= 0.95 * sync.delay.u
    assert "camera delay" in told(sync)


def test_all_that_a_rig_lacks_is_told_at_once(tmp_path: Path) -> None:
    rig_file = tmp_path / "rig.toml"
    rig_file.write_text(RIG[: RIG.index("[camera.driver]")], encoding="utf-8")
    with pytest.raises(InputError, match=r"no \[camera\.driver\].*no \[light_driver\]"):
        choices(read_rig(rig_file), rig_file)
    with pytest.raises(InputError, match=r"no \[light_driver\]"):
        watched(rig_file, tmp_path / "light", length_s=10.0, at=AT)
    assert not list((tmp_path / "light").glob("*"))
