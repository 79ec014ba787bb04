from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from logger.config import DriverChoice
from logger.lesson.planned import is_simulated, plan_of, tracker_of
from logger.recording.rig_toml import rig_text
from logger.simulator.live import SimulatedTank


def test_a_plan_carries_what_lies_beside_the_rigs_file(tmp_path: Path) -> None:
    tank = SimulatedTank(kind="straight", seed=3)
    assert tank.rig.camera is not None
    camera = replace(tank.rig.camera, driver=DriverChoice("simulated_live_camera"))
    rig = replace(tank.rig, camera=camera, gates_driver=None, panel_driver=None, simulated=False)
    file = tmp_path / "rig.toml"
    file.write_text(rig_text(rig), encoding="utf-8")
    (tmp_path / rig.camera.calibration).write_text(tank.camera_text, encoding="utf-8")
    plan = plan_of(tank.card, rig, file, tmp_path / "r1", begin="on_go")
    assert plan.calibration == tank.camera_text.encode()
    assert (plan.begin, plan.is_live, plan.kept_view) == ("on_go", True, None)
    assert tracker_of(plan, file) is not None
    assert is_simulated(rig), "whatever the file says: its camera is"
    told = replace(rig, camera=replace(camera, driver=DriverChoice("simulated_camera")))
    assert not plan_of(tank.card, told, file, tmp_path / "r1").is_live
    assert tracker_of(plan_of(tank.card, replace(rig, camera=None), file, tmp_path / "r1"), file) is None
