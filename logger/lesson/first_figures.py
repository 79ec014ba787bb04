"""First figures of a run, as soon as it ends: from what the referee decided and from the live tracker's places.

Good to some centimetres and some tenths of a second. They stand on the board for a few seconds, while the pictures are
looked through, marked as first ones, and are kept nowhere.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from calibration.quantity import Quantity
from logger.config import Line, Rig
from logger.recording.folder import Event
from logger.records import Fix
from logger.results.trial import Result
from logger.station.signals import crossline

WITNESS = "live"
U_PLACE_MM = 8.0
"""Standard uncertainty of a live place of the bow: what live fixes were off in simulated runs, and as much again."""
U_MOMENT_S = 0.1
"""Standard uncertainty of the moment at which the referee saw a line crossed by live places."""


def live_results(rig: Rig, history: Sequence[Event], fixes: Sequence[Fix]) -> Mapping[str, Result]:
    """What can be told of the run at once, by its name in the column dictionary; empty if nothing can.

    Args:
        rig: its lines.
        history: what the referee decided.
        fixes: the live places, in order.
    """
    moments = {event.event: event for event in history}
    went, started, marked, ended = (moments.get(name) for name in ("released", "started", "passed_mark", "ended"))
    found: dict[str, Result] = {}
    over = marked if marked is not None else ended if ended is not None and ended.detail == "finish" else None
    if started is not None and over is not None:
        found["time_s"] = _result((over.t_ns - started.t_ns) / 1e9, "s", U_MOMENT_S * math.sqrt(2))
    if went is not None and over is not None:
        found["time_from_go_s"] = _result((over.t_ns - went.t_ns) / 1e9, "s", U_MOMENT_S)
    line = rig.line("mark")
    if line is not None and marked is not None and ended is not None and fixes:
        past_mm = _past_mm(rig, line, fixes[-1])
        found["drift_mm"] = _result(past_mm, "mm", U_PLACE_MM, at_least=ended.detail in ("wall", "time_cap"))
    return found


def _past_mm(rig: Rig, line: Line, fix: Fix) -> float:
    bow_mm, heading = fix.bow_mm or 0.0, math.radians(fix.heading_deg)
    x_mm, y_mm = fix.x_mm + bow_mm * math.cos(heading), fix.y_mm + bow_mm * math.sin(heading)
    return crossline(line, rig=rig).ahead_mm(x_mm, y_mm)


def _result(value: float, unit: str, u: float, *, at_least: bool = False) -> Result:
    return Result(Quantity.of(value, unit, u=u, source="live places"), WITNESS, at_least=at_least)
