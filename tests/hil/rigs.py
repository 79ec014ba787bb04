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
