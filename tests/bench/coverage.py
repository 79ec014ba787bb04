"""Do the stated 95 % intervals hold the truth 95 % of the time? Over thousands of simulated runs, quantity by quantity.

    python tests/bench/coverage.py                      # 2,000 runs, two processes, a table
    python tests/bench/coverage.py --runs 400 --json out.json

Track level: the simulator gives exact motion, gate edges, and what an honest tracker would have said of every frame
(noise new in every frame; freeboard, camera height, outline and camera delay wrong once per run, line places, gates and
tape wrong once per rig). Nothing is painted, so thousands of runs take minutes; pictures are judged by the other
benches. Every run is measured three times: by gates and camera, by the camera alone, by the gates alone.

A run in which the drift ended at the wall counts as right if its truth is not below the stated bound.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import defaultdict
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from logger.recording.folder import Event, Recording
from logger.results.measure import conclude
from logger.results.trial import Result, Trial
from logger.simulator import DEVELOPMENT_SEED
from logger.simulator.run import SimulatedRun, TrackerDoubt, simulate_run
from logger.vision.track import Track

TRACKER = TrackerDoubt(noise_mm=0.3, u_heading_rad=0.005, u_outline_mm=0.4, u_camera_height_mm=1.0)
WITNESSES = ("both", "camera", "gates")


@dataclass(frozen=True, slots=True)
class Score:
    """One quantity of one run."""

    name: str
    error: float
    """Measured minus true."""
    u: float
    held: bool
    """Whether the stated 95 % interval holds the truth."""


def recording_of(run: SimulatedRun, *, gates: bool) -> Recording:
    """The recording that the run would have left, without its pictures."""
    rig = run.rig if gates else replace(run.rig, gates=(), gate_distance_mm=None)
    return Recording(
        folder=Path("simulated"), card=run.card, rig=rig, view=None, calibration_id="",
        edges=run.edges if gates else (), events=tuple(Event(t, e) for t, e in run.events), stamps=None, video=None,
    )  # fmt: skip


def track_of(run: SimulatedRun) -> Track:
    """What the imagined tracker says."""
    f = run.fixes
    n = len(f.t_ns)
    return Track(
        t_ns=f.t_ns, x_mm=f.x_mm, y_mm=f.y_mm, heading_rad=f.heading_rad,
        noise_mm2=np.tile(np.eye(2) * f.noise_mm**2, (n, 1, 1)), u_heading_rad=np.full(n, f.u_heading_rad),
        quality=np.zeros(n, np.uint8), frame=f.frame, outline_mm=f.outline_mm, u_outline_mm=f.u_outline_mm,
        shifts_mm=f.shifts_mm, frames_seen_count=n,
    )  # fmt: skip


def truths(run: SimulatedRun, trial: Trial) -> dict[str, float]:
    """What the results should have been."""
    truth = run.truth
    crossings = {c["line"]: c for c in truth["crossings"]}
    if len(crossings) < 2:
        return {}
    first, last = (crossings[line["name"]] for line in (truth["lines"][0], truth["lines"][-1]))
    time_s = (last["t_ns"] - first["t_ns"]) / 1e9
    found = {
        "time_s": time_s,
        "time_from_go_s": (last["t_ns"] - truth["go_ns"]) / 1e9,
        "speed_at_line_m_per_s": last["speed_mm_per_s"] / 1e3,
        "speed_mean_m_per_s": (truth["lines"][-1]["place_mm"] - truth["lines"][0]["place_mm"]) / time_s / 1e3,
    }
    mean = trial.results.get("speed_mean_m_per_s")
    if mean is not None and mean.witness == "gate":
        found["speed_mean_m_per_s"] = _beam_mean(truth)
    for name in ("drift_mm", "path_mm"):
        if truth.get(name) is not None:
            found[name] = truth[name]
    return found


def _beam_mean(truth: dict[str, Any]) -> float:
    begun = next(b["t_ns"] for b in truth["beams"] if b["blocked"])
    last = truth["beams"][-1]["gate"]
    ended = next(b["t_ns"] for b in truth["beams"] if b["blocked"] and b["gate"] == last)
    return float(truth["gate_distance_mm"] / (ended - begun) * 1e6)


def scores_of(seed: int) -> list[tuple[str, str, list[Score]]]:
    """Every quantity of the run of one seed, by witness."""
    kind = ("drift", "straight")[seed % 2]
    run = simulate_run(kind=kind, seed=seed, doubt=TRACKER)
    found = []
    for witness in WITNESSES:
        recording = recording_of(run, gates=witness != "camera")
        trial = conclude(recording, recording.rig, None if witness == "gates" else track_of(run)).trial
        found.append(
            (witness, kind, [_score(name, trial.results.get(name), t) for name, t in truths(run, trial).items()])
        )
    return found


def _score(name: str, result: Result | None, truth: float) -> Score:
    if result is None:
        return Score(name, math.nan, math.nan, False)
    q = result.quantity
    error = q.value - truth
    held = error <= q.U if result.at_least else abs(error) <= q.U
    return Score(name, error, q.u, held)


def table(scored: Iterable[list[tuple[str, str, list[Score]]]]) -> list[dict[str, Any]]:
    """One row per witness, kind and quantity."""
    groups: dict[tuple[str, str, str], list[Score]] = defaultdict(list)
    for run in scored:
        for witness, kind, scores in run:
            for score in scores:
                groups[witness, kind, score.name].append(score)
    rows = []
    for (witness, kind, name), scores in sorted(groups.items()):
        measured = [s for s in scores if not math.isnan(s.error)]
        if not measured:
            continue
        error, u = np.array([s.error for s in measured]), np.array([s.u for s in measured])
        rows.append({
            "witness": witness, "kind": kind, "quantity": name, "runs": len(measured),
            "without_result": len(scores) - len(measured),
            "coverage_percent": 100 * sum(s.held for s in measured) / len(measured),
            "mean_square_of_error_over_u": float(np.mean((error / u) ** 2)),
            "mean_of_error_over_u": float(np.mean(error / u)),
            "median_absolute_error": float(np.median(np.abs(error))), "worst_error": float(np.abs(error).max()),
            "median_u": float(np.median(u)),
        })  # fmt: skip
    return rows


def main(arguments: list[str]) -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=2000)
    parser.add_argument("--first-seed", type=int, default=DEVELOPMENT_SEED)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--json", type=Path, default=None, metavar="FILE")
    asked = parser.parse_args(arguments)
    seeds = range(asked.first_seed, asked.first_seed + asked.runs)
    with ProcessPoolExecutor(asked.processes) as pool:
        rows = table(pool.map(scores_of, seeds, chunksize=20))
    print(f"{'witness':8}{'kind':10}{'quantity':24}{'runs':>6}{'none':>6}{'held %':>8}{'(e/u)²':>8}{'e/u':>7}"
          f"{'median |e|':>12}{'worst':>10}{'median u':>10}")  # fmt: skip
    for r in rows:
        print(f"{r['witness']:8}{r['kind']:10}{r['quantity']:24}{r['runs']:6}{r['without_result']:6}"
              f"{r['coverage_percent']:8.1f}{r['mean_square_of_error_over_u']:8.2f}{r['mean_of_error_over_u']:7.2f}"
              f"{r['median_absolute_error']:12.5f}{r['worst_error']:10.5f}{r['median_u']:10.5f}")  # fmt: skip
    if asked.json is not None:
        asked.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
