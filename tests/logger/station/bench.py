"""The rig of the station's tests: one metre between two gates, with a mark line half-way."""

from __future__ import annotations

from logger.config import Boat, Gate, Line, Rig, Rules, RunCard, Tank
from logger.records import Edge

S = 1_000_000_000
RIG = Rig(
    name="bench",
    tank=Tank(((-300.0, -150.0), (1700.0, -150.0), (1700.0, 150.0), (-300.0, 150.0)), water_depth_mm=100.0),
    lines=(
        Line("start", "start", (0.0, -150.0), (0.0, 150.0)),
        Line("mark", "mark", (500.0, -150.0), (500.0, 150.0)),
        Line("finish", "finish", (1000.0, -150.0), (1000.0, 150.0)),
    ),
    gates=(Gate("A", "start"), Gate("B", "finish")),
    gate_distance_mm=1000.0,
)
GULL = Boat("Gull", team="Quay", length_mm=200.0, width_mm=190.0)
CARD = RunCard("run-1", "straight", "2026-05-04T12:00:00+02:00", GULL, rules=Rules(time_cap_s=20.0))


def edge(t_s: float, gate: str, *, blocked: bool = True) -> Edge:
    """Something broke a beam of the rig, or left it."""
    return Edge(round(t_s * S), gate, blocked, "gates")
