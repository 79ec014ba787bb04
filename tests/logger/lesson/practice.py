"""A rig without water, for a crew that is real: simulated devices that are there all the time."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from logger.config import DriverChoice
from logger.lesson.board import Board
from logger.lesson.desk import Desk
from logger.lesson.folder import LessonFolder
from logger.lesson.plan import LessonPlan
from logger.lesson.proceedings import Proceedings
from logger.lesson.rig_crew import RigCrew
from logger.recording.rig_toml import rig_text
from logger.simulator.live import SimulatedTank
from tests.logger.lesson.lessons import AT, plan

TANK: dict[str, Any] = {
    "tank_seed": 20, "tank_back_mm": 300.0, "tank_length_mm": 1100.0, "tank_width_mm": 500.0, "water_depth_mm": 90.0,
    "floor": "grey liner", "floor_pattern": "plain", "exposure_ns": 4_000_000, "line_ns": 0, "delay_ns": 0,
    "frame_rate_hz": 10.0, "shape": "pointed", "paint": "red", "speed_mm_per_s": 420.0,
}  # fmt: skip
PATIENCE_S = 120.0


def rig_file(folder: Path, *, has_camera: bool = False, **options: Any) -> Path:
    """A rig of simulated devices in `folder`."""
    tank = SimulatedTank(kind="straight", seed=1, rig_errors=False, **TANK)
    told = {"seed": 1, "wishes": TANK} | options
    camera = tank.rig.camera
    assert camera is not None
    rig = replace(
        tank.rig,
        gates_driver=DriverChoice("simulated_live_gates", told),
        camera=replace(camera, driver=DriverChoice("simulated_live_camera", told)) if has_camera else None,
        panel_driver=None,
        simulated=True,
    )
    (folder / camera.calibration).write_text(tank.camera_text, encoding="utf-8")
    file = folder / "rig.toml"
    file.write_text(rig_text(rig), encoding="utf-8")
    return file


@dataclass
class Practice:
    """A lesson led on such a rig; somebody waits for what is to come."""

    file: Path
    made: LessonPlan = field(default_factory=plan)

    def __enter__(self) -> Practice:
        import time

        def now() -> str:
            return datetime.now().astimezone().isoformat(timespec="seconds")

        self.folder = LessonFolder.create(self.file.parent / "lessons", self.made, at=AT)
        self.desk = Desk(Proceedings(now=now, clock_ns=time.monotonic_ns))
        self._changed = threading.Condition()
        self.seen: list[Board] = []
        self.desk.listen(self._note)
        self.desk.open(self.folder, RigCrew(self.file, told=self.desk.ear, store=self.folder.store, now=now))
        return self

    def __exit__(self, *_: object) -> None:
        if self.desk.board().state in ("ready", "armed", "released", "running", "drifting"):
            self.desk.stop()
            self.until(lambda board: board.state in ("called", "deciding"))
        self.desk.close()

    def _note(self, board: Board) -> None:
        with self._changed:
            self.seen.append(board)
            self._changed.notify_all()

    def until(self, holds: Callable[[Board], object]) -> Board:
        """Wait until the board is as wanted."""
        with self._changed:
            assert self._changed.wait_for(lambda: holds(self.seen[-1]), PATIENCE_S), self.seen[-1]
            return self.seen[-1]
