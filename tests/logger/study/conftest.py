from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from calibration.quantity import Quantity, Source
from logger.config import Boat, Conditions, Line, Rig, RunCard, Tank
from logger.results.trial import Crossing, NotMeasured, Result, Trial
from logger.study.leaf import Run
from logger.study.series import Series

LINES = (
    Line("start", "start", (0.0, -250.0), (0.0, 250.0)),
    Line("mark", "mark", (500.0, -250.0), (500.0, 250.0)),
    Line("finish", "finish", (1100.0, -250.0), (1100.0, 250.0)),
)
RIG = Rig(
    name="Invented basin",
    tank=Tank(((-300.0, -300.0), (1300.0, -300.0), (1300.0, 300.0), (-300.0, 300.0)), 90.0),
    lines=LINES,
    simulated=True,
)
SPEED_M_PER_S, DECAY_S, LENGTH_MM = 0.25, 2.0, 180.0


def card(name: str, kind: str) -> RunCard:
    return RunCard(
        id=f"{kind}-{name.lower()}",
        kind=kind,
        recorded_at="2026-11-25T10:32:05+00:00",
        boat=Boat(name=name, length_mm=LENGTH_MM, width_mm=70.0, freeboard_mm=22.0, mass_g=61.0),
        conditions=Conditions(power="fan", fan_setting="low", fan_distance_mm=400.0),
        clock_set_by="simulated",
        simulated=True,
    )


def coasting_series() -> Series:
    """0.25 m/s to the mark line at 0.5 m, then the speed dies away with a time constant of 2 s: closed forms."""
    t_s = np.arange(-0.8, 9.0, 1 / 30)
    mark_s = 0.5 / SPEED_M_PER_S
    after = np.maximum(t_s - mark_s, 0.0)
    speed = SPEED_M_PER_S * np.exp(-after / DECAY_S)
    along_m = SPEED_M_PER_S * np.minimum(t_s, mark_s) + SPEED_M_PER_S * DECAY_S * (1 - np.exp(-after / DECAY_S))
    y_mm = 60 * np.sin(along_m * 3)
    heading = np.arctan2(np.gradient(y_mm), np.gradient(along_m * 1000))
    seen = (t_s < 3.0) | (t_s > 3.4)
    half = LENGTH_MM / 2
    return Series(
        t_s=t_s,
        zero="the bow reached the start line",
        x_mm=along_m * 1000 - half,
        y_mm=y_mm,
        heading_rad=heading,
        along_m=along_m,
        u_along_m=np.where(seen, 0.001, 0.006),
        speed_m_per_s=speed,
        u_speed_m_per_s=np.where(seen, 0.004, 0.012),
        seen=seen,
        outline_mm=np.array([(half, 0.0), (30.0, 35.0), (-half, 30.0), (-half, -30.0), (30.0, -35.0)]),
    )


def drift(value_mm: float, *, at_least: bool = False) -> Result:
    sources = {Source("camera noise", 40.0): 0.8, Source("freeboard"): 1.1, Source("mark line place"): 1.0}
    return Result(Quantity(value_mm, "mm", sources), "camera", at_least=at_least)


def straight(value_s: float) -> Result:
    return Result(Quantity(value_s, "s", {Source("gate stamps"): 0.0007, Source("start line place"): 0.004}), "gate")


def trial(name: str, kind: str, results: dict[str, Result], **others: object) -> Trial:
    values: dict[str, object] = {
        "run_id": f"{kind}-{name.lower()}",
        "kind": kind,
        "status": "valid",
        "crossings": (Crossing("start", 10**9, 0.003, "camera"), Crossing("mark", 3 * 10**9, 0.002, "camera")),
        "results": results,
        "end_reason": "at_rest",
        "software": "boatrun 0.0",
        "calibration_id": "invented-1",
        "simulated": True,
    }
    return Trial(**(values | others))


def drift_run(name: str = "Pelican", value_mm: float = 485.3, *, at_least: bool = False, **others: object) -> Run:
    results = {
        "drift_mm": drift(value_mm, at_least=at_least),
        "speed_at_line_m_per_s": Result(Quantity.of(0.2501, "m/s", u=0.002, source="camera noise"), "camera"),
    }
    missing = {"time_s": NotMeasured("The boat never reached the finish line.")}
    made = trial(name, "drift", results, **({"not_measured": missing} | others))
    return Run(card(name, "drift"), RIG, made, coasting_series(), zero_ns=10**9)


def straight_run(name: str, value_s: float, **others: object) -> Run:
    crossings = (Crossing("start", 10**9, 0.001, "gate"), Crossing("finish", int(1e9 + value_s * 1e9), 0.001, "gate"))
    made = trial(
        name, "straight", {"time_s": straight(value_s)}, **({"crossings": crossings, "end_reason": "finish"} | others)
    )
    return Run(card(name, "straight"), RIG, made, None, zero_ns=10**9)


@pytest.fixture
def make_drift_run() -> Callable[..., Run]:
    return drift_run


@pytest.fixture
def make_straight_run() -> Callable[..., Run]:
    return straight_run


@pytest.fixture
def series() -> Series:
    return coasting_series()


@pytest.fixture
def decay_length_m() -> float:
    assert math.isfinite(DECAY_S)
    return SPEED_M_PER_S * DECAY_S
