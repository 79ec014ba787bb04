"""An invented rig for recordings made in the machine."""

from __future__ import annotations

from logger.config import Boat, Gate, Line, Rig, RunCard, Tank

RIG = Rig(
    name="machine",
    tank=Tank(((0.0, -200.0), (1000.0, -200.0), (1000.0, 200.0), (0.0, 200.0)), water_depth_mm=80.0),
    lines=(
        Line("start", "start", (100.0, -200.0), (100.0, 200.0)),
        Line("end", "finish", (900.0, -200.0), (900.0, 200.0)),
    ),
    gates=(Gate("A", "start"), Gate("B", "end")),
)
CARD = RunCard("run-1", "straight", "2026-05-04T12:00:00+02:00", Boat("Gull", length_mm=200.0))


def camera_file(width_px: int, height_px: int) -> bytes:
    """A camera that looks straight down from 1 m."""
    return f"""format = "boatrun-camera/1"
[lens]
width_px = {width_px}
height_px = {height_px}
fx_px = {width_px}
fy_px = {width_px}
cx_px = {(width_px - 1) / 2}
cy_px = {(height_px - 1) / 2}
[pose]
rotation_vector = [3.141592653589793, 0, 0]
camera_mm = [500, 0, 1000]
""".encode()
