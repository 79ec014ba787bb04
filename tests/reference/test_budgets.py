"""Whole budgets of a trial, rebuilt with GTC from the inputs: value, uncertainty, degrees of freedom, each part.

GTC (Measurement Standards Laboratory of New Zealand) knows nothing of boats: each formula is written out again below,
and GTC differentiates it by itself.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import GTC
import numpy as np
import pytest

from calibration.quantity import Quantity, Source
from logger.config import Boat, Gate, Line, Rig, Rules, RunCard, Tank
from logger.recording.folder import Event, Recording
from logger.records import Edge
from logger.results import gates, speeds, times
from logger.results.crossings import Reached
from logger.results.measure import conclude
from logger.results.passages import passages
from logger.results.trial import Result, Trial
from logger.vision.track import MEASURED, Track

TANK = Tank(((-400.0, -300.0), (2000.0, -300.0), (2000.0, 300.0), (-400.0, 300.0)), water_depth_mm=100.0)
START = Line("start", "start", (0.0, 300.0), (0.0, -300.0), u_mm=0.8)
FINISH = Line("finish", "finish", (1200.0, 300.0), (1200.0, -300.0), u_mm=1.1)
MARK = Line("mark", "mark", (600.0, 300.0), (600.0, -300.0), u_mm=1.3)
GATE_A = Gate("A", "start", offset_mm=12.0, u_offset_mm=1.5, u_stamp_s=0.0004)
GATE_B = Gate("B", "finish", offset_mm=-8.0, u_offset_mm=0.9, u_stamp_s=0.0006)
BOAT = Boat("Otter", length_mm=180.0, freeboard_mm=20.0)


def passed(gate: str, on_s: float, off_s: float) -> list[Edge]:
    return [Edge(round(on_s * 1e9), gate, True, "gates"), Edge(round(off_s * 1e9), gate, False, "gates")]


EDGES = [*passed("A", 2.0, 2.9), *passed("B", 6.5, 7.1)]


def recorded(
    rig: Rig, *, kind: Any, edges: list[Edge], run_id: str = "run 1", events: tuple[Event, ...] = ()
) -> Recording:
    card = RunCard(run_id, kind, "2026-01-01T12:00:00Z", BOAT, rules=Rules())
    return Recording(Path(run_id), card, rig, None, "", tuple(edges), events, None, None)


def part(quantity: Quantity, name: str) -> float:
    return math.fsum(c for source, c in quantity.contributions.items() if source.name == name)


def assert_same(ours: Quantity, theirs: Any, *, parts: dict[str, Any]) -> None:
    """Value, u and dof agree, and each named part is GTC's component of the input it stands for."""
    assert ours.value == pytest.approx(GTC.value(theirs), rel=1e-9)
    assert ours.u == pytest.approx(GTC.uncertainty(theirs), rel=1e-9)
    if math.isfinite(ours.dof):
        assert ours.dof == pytest.approx(GTC.dof(theirs), rel=1e-6)
    else:
        assert GTC.dof(theirs) > 1e5
    for name, cause in parts.items():
        assert abs(part(ours, name)) == pytest.approx(GTC.component(theirs, cause), rel=1e-9, abs=1e-15), name


def test_a_time_and_a_mean_speed_by_gates_with_few_degrees_of_freedom() -> None:
    """t = (t_B − p_B/v_B) − (t_A − p_A/v_A), v = D/t; both beam speeds come from one boat length with 4 dof."""
    length = Source("boat length", dof=4)
    found_a, found_b = (passages(EDGES, gate=name)[0] for name in "AB")
    speed_a = Quantity(200.0, "mm/s", {length: 4.0, Source("gathering way", dof=7): 15.0})
    speed_b = Quantity(300.0, "mm/s", {length: 6.0, Source("losing way", dof=3): 20.0})
    begun = gates.at_line(found_a, GATE_A, gates.GatesClock(0, "run 1"), speed=speed_a)
    ended = gates.at_line(found_b, GATE_B, gates.GatesClock(0, "run 1"), speed=speed_b)
    ours = times.elapsed(Reached("start", begun, "gate"), Reached("finish", ended, "gate"))

    stamp_a, stamp_b = GTC.ureal(2.0, GATE_A.u_stamp_s), GTC.ureal(6.5, GATE_B.u_stamp_s)
    place_a, place_b = GTC.ureal(12.0, GATE_A.u_offset_mm), GTC.ureal(-8.0, GATE_B.u_offset_mm)
    longer = GTC.ureal(1.0, 0.02, 4)
    way_a, way_b = GTC.ureal(0.0, 15.0, 7), GTC.ureal(0.0, 20.0, 3)
    theirs = (stamp_b - place_b / (300 * longer + way_b)) - (stamp_a - place_a / (200 * longer + way_a))
    assert_same(ours, theirs, parts={"gate A place": place_a, "gate B place": place_b, "boat length": longer})

    rig = Rig("r", TANK, (START, FINISH), (GATE_A, GATE_B), gate_distance_mm=1180.0, u_gate_distance_mm=1.7)
    distance = gates.beam_distance((GATE_A, START), (GATE_B, FINISH), rig)
    taped = GTC.ureal(1180.0, 1.7)
    assert_same(
        speeds.mean(distance, ours), taped / theirs / 1000, parts={"gate distance": taped, "gate B place": place_b}
    )


def measured(trial: Trial, name: str) -> Quantity:
    found = trial.results[name]
    assert isinstance(found, Result)
    return found.quantity


def test_beam_to_beam_speed_of_a_whole_trial() -> None:
    """From beam to beam neither the boat's speed nor its length matters: v = D/(t_B − t_A)."""
    rig = Rig("r", TANK, (START, FINISH), (GATE_A, GATE_B), gate_distance_mm=1180.0, u_gate_distance_mm=1.7)
    trial = conclude(recorded(rig, kind="straight", edges=EDGES), rig, None).trial
    taped = GTC.ureal(1180.0, 1.7)
    begun, ended = GTC.ureal(2.0, GATE_A.u_stamp_s), GTC.ureal(6.5, GATE_B.u_stamp_s)
    assert_same(
        measured(trial, "speed_mean_m_per_s"),
        taped / (ended - begun) / 1000,
        parts={"gate distance": taped, "gate A stamp": begun, "gate B stamp": ended},
    )


def test_without_a_tape_the_lines_and_the_gates_places_make_the_distance() -> None:
    rig = Rig("r", TANK, (START, FINISH), (GATE_A, GATE_B))
    trial = conclude(recorded(rig, kind="straight", edges=EDGES), rig, None).trial
    line_a, line_b = GTC.ureal(0.0, START.u_mm), GTC.ureal(1200.0, FINISH.u_mm)
    place_a, place_b = GTC.ureal(12.0, GATE_A.u_offset_mm), GTC.ureal(-8.0, GATE_B.u_offset_mm)
    begun, ended = GTC.ureal(2.0, GATE_A.u_stamp_s), GTC.ureal(6.5, GATE_B.u_stamp_s)
    assert_same(
        measured(trial, "speed_mean_m_per_s"),
        ((line_b + place_b) - (line_a + place_a)) / (ended - begun) / 1000,
        parts={
            "start line place": line_a,
            "finish line place": line_b,
            "gate A place": place_a,
            "gate B place": place_b,
        },
    )


def test_two_boats_on_one_rig_share_its_distance() -> None:
    """In a ratio of two mean speeds the distance cancels; in their difference only its small rest is left."""
    rig = Rig("r", TANK, (START, FINISH), (GATE_A, GATE_B), gate_distance_mm=1180.0, u_gate_distance_mm=1.7)
    first = conclude(recorded(rig, kind="straight", edges=EDGES), rig, None).trial
    later = [*passed("A", 2.0, 2.8), *passed("B", 6.3, 6.9)]
    second = conclude(recorded(rig, kind="straight", edges=later, run_id="run 2"), rig, None).trial
    ours = measured(first, "speed_mean_m_per_s"), measured(second, "speed_mean_m_per_s")

    taped = GTC.ureal(1180.0, 1.7)
    theirs = [
        taped / (GTC.ureal(end, GATE_B.u_stamp_s) - GTC.ureal(2.0, GATE_A.u_stamp_s)) / 1000 for end in (6.5, 6.3)
    ]
    assert_same(ours[1] - ours[0], theirs[1] - theirs[0], parts={"gate distance": taped})
    assert_same(ours[1].over(ours[0], "1"), theirs[1] / theirs[0], parts={"gate distance": taped})
    assert part(ours[1].over(ours[0], "1"), "gate distance") == pytest.approx(0, abs=1e-15)


# --- a drift run by camera ---

FREEBOARD_MM, PLACE_MM, U_OUTLINE_MM, NOISE_MM = 0.7, 0.35, 0.4, 0.3


def coasting() -> Track:
    """Under power at 300 mm/s to the mark, then linear drag: x = x_m + (v·τ)(1 − exp(−t/τ)), bow 90 mm ahead."""
    t_ns = np.round(np.arange(0, 14, 1 / 30) * 1e9).astype(np.int64)
    t = t_ns / 1e9
    cut_s, tau_s, speed = 3.0, 1.5, 300.0
    way = np.where(t < cut_s, speed * t, speed * cut_s + speed * tau_s * -np.expm1(-np.maximum(t - cut_s, 0) / tau_s))
    x = -390.0 + way
    rng = np.random.default_rng(7)
    count = len(t)
    ahead = np.tile([1.0, 0.0], (count, 1))
    return Track(
        t_ns=t_ns,
        x_mm=x + rng.normal(0, NOISE_MM, count),
        y_mm=rng.normal(0, NOISE_MM, count),
        heading_rad=np.zeros(count),
        noise_mm2=np.tile(np.eye(2) * NOISE_MM**2, (count, 1, 1)),
        u_heading_rad=np.full(count, 0.002),
        quality=np.full(count, MEASURED, np.uint8),
        frame=np.arange(count),
        outline_mm=np.array([[90.0, 0.0], [0.0, 35.0], [-90.0, 0.0], [0.0, -35.0]]),
        u_outline_mm=U_OUTLINE_MM,
        shifts_mm={"freeboard": FREEBOARD_MM * ahead, "camera place along x": -PLACE_MM * ahead},
        frames_seen_count=count,
    )


def test_a_drift_has_the_parts_that_its_formula_gives() -> None:
    """Drift = (x_end + freeboard's shift + camera's shift + reach of the bow) − place of the mark line."""
    rig = Rig("r", TANK, (START, MARK))
    track = coasting()
    trial = conclude(recorded(rig, kind="drift", edges=[]), rig, track).trial
    drift = measured(trial, "drift_mm")
    noise = part(drift, "noise of the positions")

    x_end = GTC.ureal(float(drift.value) + 600.0 - 90.0, noise)
    freeboard, camera = GTC.ureal(0.0, FREEBOARD_MM), GTC.ureal(0.0, PLACE_MM)
    reach, line = GTC.ureal(90.0, U_OUTLINE_MM), GTC.ureal(600.0, MARK.u_mm)
    theirs = (x_end + freeboard + camera + reach) - line
    assert drift.u == pytest.approx(GTC.uncertainty(theirs), rel=1e-3)
    for name, cause in {
        "freeboard": freeboard,
        "camera place along x": camera,
        "boat outline": reach,
        "mark line place": line,
    }.items():
        assert abs(part(drift, name)) == pytest.approx(GTC.component(theirs, cause), rel=0.01), name
    assert 0.02 < noise < 1.0


def test_the_drift_itself_is_where_the_stop_rule_puts_it() -> None:
    """At rest means slower than 10 mm/s: with v·exp(−t/τ) = 10, x = x_cut + τ·(v − 10) by separation of variables."""
    rig = Rig("r", TANK, (START, MARK))
    trial = conclude(recorded(rig, kind="drift", edges=[]), rig, coasting()).trial
    drift = measured(trial, "drift_mm")
    truth_mm = (-390.0 + 300.0 * 3.0) + 1.5 * (300.0 - 10.0) + 90.0 - 600.0
    assert trial.end_reason == "at_rest"
    assert drift.value == pytest.approx(truth_mm, abs=3 * math.hypot(part(drift, "noise of the positions"), 0.05))


def test_a_crossing_time_by_camera_has_the_parts_that_its_formula_gives() -> None:
    """A shift of s mm at v mm/s is s/v seconds; the delay of the camera cancels between two lines of one camera."""
    rig = Rig("r", TANK, (START, MARK))
    trial = conclude(recorded(rig, kind="drift", edges=[]), rig, coasting()).trial
    time = measured(trial, "time_s")
    start, mark = GTC.ureal(0.0, START.u_mm), GTC.ureal(600.0, MARK.u_mm)
    speed = 300.0
    freeboard, reach = GTC.ureal(0.0, FREEBOARD_MM), GTC.ureal(90.0, U_OUTLINE_MM)
    theirs = (mark - reach - freeboard) / speed - (start - reach - freeboard) / speed
    assert time.value == pytest.approx(GTC.value(theirs), abs=0.005)
    assert abs(part(time, "start line place")) == pytest.approx(GTC.component(theirs, start), rel=0.02)
    assert abs(part(time, "mark line place")) == pytest.approx(GTC.component(theirs, mark), rel=0.02)
    assert abs(part(time, "freeboard")) < 0.02 * FREEBOARD_MM / speed, "shifts both crossings alike"
    assert abs(part(time, "boat outline")) < 0.02 * U_OUTLINE_MM / speed
