"""A class that never was, on disk: eight teams whose boats move by closed forms, so that every answer is known.

Straight runs: the bow goes at one speed. Drift runs: at one speed to the mark line, then it dies away exponentially
until it is slower than the rules' stop speed. Five teams are faster after they rebuilt their boat, one is slower, one
hardly differs, and one has not rebuilt.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from calibration.quantity import Quantity, Source
from logger.config import Boat, Conditions, Gate, Line, Rig, RunCard, Tank, Zone
from logger.recording.card_toml import card_text
from logger.recording.rig_toml import rig_text
from logger.results.columns import COLUMNS, TRACK
from logger.results.store import Correction, Store
from logger.results.trial import Crossing, Result, Trial
from logger.study.experiment import Changed, Experiment
from logger.study.experiment_file import keep_plan

FINISH_MM, MARK_MM, LENGTH_MM, STOP_MM_PER_S = 1000.0, 500.0, 160.0, 10.0
BASE_NS = 5_000_000_000_000
RATE_HZ = 30.0
TEAMS = ("Heron", "Otter", "Tern", "Newt", "Coot", "Smelt", "Wren", "Carp")
SPEEDS_MM_PER_S = {
    "Heron": ((240.0, 250.0, 260.0), (300.0, 310.0, 320.0)),
    "Otter": ((200.0, 210.0, 205.0), (260.0, 255.0, 250.0)),
    "Tern": ((180.0, 190.0, 185.0), (230.0, 240.0, 235.0)),
    "Newt": ((300.0, 310.0, 305.0), (340.0, 350.0, 345.0)),
    "Coot": ((150.0, 155.0, 160.0), (200.0, 195.0, 190.0)),
    "Smelt": ((260.0, 270.0, 265.0), (220.0, 225.0, 230.0)),
    "Wren": ((220.0, 240.0, 230.0), (221.0, 239.0, 231.0)),
    "Carp": ((210.0, 215.0), ()),
}
MASSES_G = dict(zip(TEAMS, (30.0, 45.0, 60.0, 75.0, 90.0, 110.0, 130.0, 150.0), strict=True))
MATERIALS = dict(zip(TEAMS, ("foil", "clay") * 3 + ("Foil", ""), strict=True))
TAUS_S = {team: 1.0 + 0.012 * MASSES_G[team] for team in TEAMS}
DRIFT_SPEED_MM_PER_S = 250.0
RIG = Rig(
    name="Invented basin",
    tank=Tank(((-300.0, -300.0), (1300.0, -300.0), (1300.0, 300.0), (-300.0, 300.0)), 90.0),
    lines=(
        Line("start", "start", (0.0, -250.0), (0.0, 250.0), 0.4),
        Line("mark", "mark", (MARK_MM, -250.0), (MARK_MM, 250.0), 0.4),
        Line("finish", "finish", (FINISH_MM, -250.0), (FINISH_MM, 250.0), 0.4),
    ),
    gates=(Gate("A", "start"), Gate("B", "finish")),
    zones=(Zone("quay", "port", ((1050.0, 100.0), (1200.0, 100.0), (1200.0, 250.0), (1050.0, 250.0))),
           Zone("buoy", "obstacle", middle_mm=(700.0, 150.0), radius_mm=40.0)),
    simulated=True,
)  # fmt: skip


HEAVIER = Experiment(
    question="Does a heavier boat drift farther?", kind="drift", result="drift_mm",
    changed=Changed("mass_g", levels=(30.0, 60.0, 90.0, 150.0)), held_equal=("power", "fan_setting"), repeats=2,
    prediction="We think so: it is harder to stop.",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sail:
    """One run to be made."""

    team: str
    kind: str
    version: int
    speed_mm_per_s: float


def sails() -> Iterator[Sail]:
    for version in (1, 2):
        for turn in range(3):
            for team in TEAMS:
                speeds = SPEEDS_MM_PER_S[team][version - 1]
                if turn < len(speeds):
                    yield Sail(team, "straight", version, speeds[turn])
    for team in TEAMS:
        yield Sail(team, "drift", 2, DRIFT_SPEED_MM_PER_S)


def along_mm(sail: Sail, t_s: float) -> float:
    """Where the bow is, past the start line."""
    mark_s = MARK_MM / sail.speed_mm_per_s
    if sail.kind == "straight" or t_s <= mark_s:
        return sail.speed_mm_per_s * t_s
    tau = TAUS_S[sail.team]
    return MARK_MM + sail.speed_mm_per_s * tau * -math.expm1(-(t_s - mark_s) / tau)


def speed_mm_per_s(sail: Sail, t_s: float) -> float:
    mark_s = MARK_MM / sail.speed_mm_per_s
    if sail.kind == "straight" or t_s <= mark_s:
        return sail.speed_mm_per_s
    return sail.speed_mm_per_s * math.exp(-(t_s - mark_s) / TAUS_S[sail.team])


def coast_s(sail: Sail) -> float:
    """From the mark line to rest."""
    return TAUS_S[sail.team] * math.log(sail.speed_mm_per_s / STOP_MM_PER_S)


def drift_mm(sail: Sail) -> float:
    return (sail.speed_mm_per_s - STOP_MM_PER_S) * TAUS_S[sail.team]


def end_s(sail: Sail) -> float:
    if sail.kind == "straight":
        return FINISH_MM / sail.speed_mm_per_s + 0.4
    return MARK_MM / sail.speed_mm_per_s + coast_s(sail) + 1.0


def card_of(sail: Sail, number: int) -> RunCard:
    return RunCard(
        id=f"s1-r{number:03d}",
        kind=sail.kind,  # type: ignore[arg-type]
        recorded_at=f"2026-05-04T10:{number % 60:02d}:00+02:00",
        boat=Boat(
            name=sail.team, team=f"Team {sail.team}", version=sail.version, length_mm=LENGTH_MM, width_mm=70.0,
            freeboard_mm=20.0, mass_g=MASSES_G[sail.team],
            material=MATERIALS[sail.team], notes="a note that nobody else may read",
        ),
        conditions=Conditions(power="fan", fan_setting="2", fan_distance_mm=400.0, notes="a free word"),
        simulated=True,
    )  # fmt: skip


def trial_of(sail: Sail, number: int) -> Trial:
    last_mm = FINISH_MM if sail.kind == "straight" else MARK_MM
    time_s = last_mm / sail.speed_mm_per_s
    line = "finish" if sail.kind == "straight" else "mark"
    gate = Source("gate stamps")
    results = {
        "time_s": Result(
            Quantity(time_s, "s", {gate: 0.001, Source("start line place"): 0.4 / sail.speed_mm_per_s}), "gate"
        )
    }
    if sail.kind == "drift":
        results |= {
            "drift_mm": Result(
                Quantity(drift_mm(sail), "mm", {Source("camera noise"): 0.8, Source("freeboard"): 1.1}), "camera"
            ),
            "coast_time_s": Result(Quantity.of(coast_s(sail), "s", u=0.02, source="camera noise"), "camera"),
            "speed_at_line_m_per_s": Result(
                Quantity.of(sail.speed_mm_per_s / 1000, "m/s", u=0.001, source="camera noise"), "camera"
            ),
            "deceleration_m_per_s2": Result(
                Quantity.of(sail.speed_mm_per_s / TAUS_S[sail.team] / 1000, "m/s2", u=0.0004, source="scatter"),
                "camera",
            ),
            "drag_linear_per_s": Result(Quantity.of(1 / TAUS_S[sail.team], "/s", u=0.002, source="scatter"), "camera"),
        }
    return Trial(
        run_id=card_of(sail, number).id,
        kind=sail.kind,  # type: ignore[arg-type]
        status="valid",
        crossings=(
            Crossing("start", BASE_NS, 0.001, "gate"),
            Crossing(line, BASE_NS + round(time_s * 1e9), 0.001, "gate"),
        ),
        results=results,
        end_reason="finish" if sail.kind == "straight" else "at_rest",
        software="boatrun 0.0",
        calibration_id="invented-1",
        simulated=True,
    )


def track_of(sail: Sail, rate_hz: float = RATE_HZ) -> str:
    """The text of a track.csv: the middle of the boat half its length behind its bow."""
    lines = [",".join(TRACK)]
    count = int((end_s(sail) + 0.4) * rate_hz)
    for i in range(count):
        t_s = i / rate_hz - 0.4
        values = {
            "t_s": t_s, "x_mm": along_mm(sail, t_s) - LENGTH_MM / 2, "y_mm": 20.0, "heading_deg": 0.0, "u_x_mm": 0.5,
            "u_y_mm": 0.5, "speed_m_per_s": speed_mm_per_s(sail, t_s) / 1000, "u_speed_m_per_s": 0.002,
        }  # fmt: skip
        numbers = [f"{values[name]:.{COLUMNS[name].decimals}f}" for name in TRACK[1:-1]]
        word = "bridged" if 1.0 < t_s < 1.2 else "measured"
        lines.append(",".join([str(BASE_NS + round(t_s * 1e9)), *numbers, word]))
    return "\n".join(lines) + "\n"


def write_class(folder: Path) -> Path:
    """The whole class and an experiment; a run that did not finish and a void one are among it."""
    keep_plan(folder, HEAVIER, name="heavier")
    with Store(folder / "trials.sqlite") as store:
        for number, sail in enumerate(sails(), start=1):
            _write(folder, store, sail, number)
        number += 1
        lost = Sail("Carp", "straight", 1, 100.0)
        _write(folder, store, lost, number, finished=False)
        store.correct(Correction("s1-r002", "void", "hand", "teacher", "2026-05-04T11:00:00+02:00"))
    return folder


def _write(folder: Path, store: Store, sail: Sail, number: int, *, finished: bool = True) -> None:
    card, trial = card_of(sail, number), trial_of(sail, number)
    if not finished:
        trial = replace(
            trial, status="did_not_finish", crossings=trial.crossings[:1], results={}, end_reason="time_cap"
        )
    place = folder / "recordings" / card.id
    place.mkdir(parents=True)
    (place / "recording.toml").write_text(card_text(card), encoding="utf-8")
    (place / "rig.toml").write_text(rig_text(RIG), encoding="utf-8")
    (place / "track.csv").write_text(track_of(sail), encoding="utf-8")
    store.add(trial, place, boat=card.boat, at=card.recorded_at)
