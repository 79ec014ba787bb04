from __future__ import annotations

import re
import shutil
from pathlib import Path

from logger.recording.rig_toml import read_rig
from logger.simulator import simulate_run
from tests.logger.web.conftest import Desk


def test_a_pull_finds_the_beams_and_they_are_entered(desk: Desk, filmed_once: Path) -> None:
    shutil.copytree(filmed_once, desk.folder / "pull-1")
    text = re.sub(r"^offset_mm = .*$", "offset_mm = 25.0", (filmed_once / "rig.toml").read_text(), flags=re.MULTILINE)
    desk.rig_file.write_text(re.sub(r"^u_offset_mm = .*$", "u_offset_mm = 30.0", text, flags=re.MULTILINE))
    camera = read_rig(desk.rig_file).camera
    assert camera is not None
    shutil.copy(filmed_once / camera.calibration, desk.folder / camera.calibration)
    assert 'value="pull-1"' in desk.get("/gates")
    where = desk.worked(desk.post("/gates", {"recording": "pull-1"}))
    assert where.startswith("/gates/result/"), desk.get(where)
    assert "from beam to beam" in desk.get(where)
    desk.post("/gates/use", {"folder": "gates-of-another"}, status=404, drawn_at=where)
    desk.post("/gates/use", {"folder": where.rsplit("/", 1)[1]}, drawn_at=where)
    # truth: the simulator's own rig without any error of tape or ruler
    true = {g.name: g.offset_mm for g in simulate_run(kind="straight", seed=1003, rig_errors=False).rig.gates}
    for gate in read_rig(desk.rig_file).gates:
        assert abs(gate.offset_mm - true[gate.name]) < 2.5 * gate.u_offset_mm < 10.0


def test_none_chosen_or_one_that_is_not_there_is_refused(desk: Desk) -> None:
    assert "There are no recordings beside the rig file yet" in desk.get("/gates")
    for values in ({}, {"recording": "../elsewhere"}):
        assert "choose the recordings of the pulls" in desk.post("/gates", values, status=422).text
