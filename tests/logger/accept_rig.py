"""A simulated rig to be accepted: a tank with two attended gates, and a camera if wanted."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

from logger.config import DriverChoice
from logger.recording.rig_toml import rig_text
from logger.simulator.live import SimulatedTank

SEED = 1003
GATES = ("start-gate", "finish-gate")
TANK = {
    "tank_seed": SEED, "frame_rate_hz": 8.0, "tank_length_mm": 1100.0, "tank_width_mm": 500.0, "water_depth_mm": 90.0,
    "camera_height_mm": 1000.0, "length_mm": 160.0, "width_mm": 70.0, "freeboard_mm": 20.0, "plain_deck": True,
    "paint": "red", "camera_errors": True,
}  # fmt: skip
"""One tank for all pulls of one check boat."""
PULLS = ((1, 450.0), (2, 600.0), (4, 800.0))
"""Seed and speed (mm/s) of each pull."""


def accept_rig(folder: Path, *, camera: bool = False, **gates: object) -> Path:
    """The rig file; `gates` are options of the attended gates."""
    folder.mkdir(parents=True, exist_ok=True)
    tank = SimulatedTank(kind="straight", seed=PULLS[0][0], **TANK)  # type: ignore[arg-type]
    driver = DriverChoice("simulated_attended_gates", {"gates": list(GATES), "pace": "fast"} | gates)
    eye = None
    if camera and tank.rig.camera is not None:
        options = {"seed": PULLS[0][0], "run_kind": "straight", "pace": "fast", "wishes": TANK}
        eye = replace(tank.rig.camera, driver=DriverChoice("simulated_camera", options))
        (folder / "camera.toml").write_text(tank.camera_text, encoding="utf-8")
    rig = replace(tank.rig, gates_driver=driver, camera=eye)
    (folder / "rig.toml").write_text(rig_text(rig), encoding="utf-8")
    (folder / "recordings").mkdir(exist_ok=True)
    return folder / "rig.toml"


def pulled_plug(rig: Path) -> str:
    """Begin the item of the plug in a program of its own and kill it when it asks for the plug; what it said."""
    words = [sys.executable, "-m", "logger", "check", str(rig), "--acceptance", "--do", "plug"]
    ran = subprocess.Popen(
        words, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert ran.stderr is not None
    said = ""
    for line in ran.stderr:
        said += line
        if "pull the computer's own plug now" in line:
            break
    ran.send_signal(signal.SIGKILL)
    ran.communicate(timeout=30)
    return said


def started_anew(root: Path) -> Path:
    """A root in which the kernel names another start of the computer."""
    where = root / "proc/sys/kernel/random"
    where.mkdir(parents=True)
    (where / "boot_id").write_text("another-start\n")
    return root
